"""Damage reported from the floor, as the desk settles it; and what a replacement costs."""

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from quotes.desk.waiting_bench import replacements, reports
from shop.floor.damage import report_damage
from shop.floor.doing import again, done
from shop.floor.models import DamageReport, Rework
from shop.methods.models import PartKind, PossibleDamage
from shop.papers.models import Photograph
from shop.restorations.models import PartDamage
from shop.routes.splitting import split_part
from tests.floor.bench import Bench, bench
from tests.workshop import NOW, WHO

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(db: None) -> Bench:
    return bench(pieces=4)


def told(shop: Bench, **fields: Any) -> DamageReport:
    given: dict[str, Any] = {"part": shop.part, "possible": None, "words": "Lug cracked", "hours": Decimal("2.5")}
    return report_damage(uid=uuid.uuid4(), **given | fields, person=shop.joe, now=NOW)


def boxes(client: Client, where: str) -> dict[str, str]:
    form = client.get(where).context["form"]
    data = {form[name].html_name: str(form[name].value() or "") for name in form.fields}
    return {name: value for name, value in data.items() if value}


def test_a_report_stands_on_the_desks_first_page_and_its_page_has_no_secret(shop: Bench, front_desk: Client) -> None:
    row = told(shop)
    page = front_desk.get("/").content.decode()
    assert "Lug cracked" in page
    assert "Joe guesses 2.5" in page
    assert f"/reports/{row.uid}/" in page
    assert f"/damage-found/?report={row.uid}" in front_desk.get(f"/reports/{row.uid}/").content.decode()


def test_one_button_leads_to_the_form_filled_and_recording_settles_the_report(shop: Bench, front_desk: Client) -> None:
    picture = Photograph.objects.create(
        sha256="a",
        thumbnail_sha256="b",
        kind="jpeg",
        width=1,
        height=1,
        bytes=1,
        caption="Lug",
        added_at=NOW,
        added_by="joe",
    )
    row = told(shop, photograph=picture)
    where = f"/parts/{shop.part.uid}/damage-found/"
    page = front_desk.get(f"{where}?report={row.uid}").content.decode()
    assert "Joe guesses 2.5" in page
    sent = boxes(front_desk, f"{where}?report={row.uid}")
    assert (sent["found-what"], sent["found-name"], sent["found-note"]) == ("other", "Lug cracked", "Lug cracked")
    answer = front_desk.post(where, sent | {"report": str(row.uid)})
    row.refresh_from_db()
    damage = PartDamage.objects.get()
    assert (row.settled_as, row.settled_by) == ("Damage found: Lug cracked", "ada")
    assert list(damage.photographs.all()) == [picture]
    assert answer.headers["Location"].endswith(f"/parts/{shop.part.uid}/steps/?hours=2.50")
    assert 'value="2.5' in front_desk.get(answer.headers["Location"]).content.decode()
    assert reports(timezone.localdate()).rows == []


def test_what_the_library_knows_is_chosen_already(shop: Bench, front_desk: Client) -> None:
    shop.part.kind = PartKind.objects.create(name="Frame")
    shop.part.save()
    costs = {"low_minor": 1, "likely_minor": 2, "high_minor": 3, "frequency": "rare"}
    cracked = PossibleDamage.objects.create(kind=shop.part.kind, name="Cracked lug", **costs)
    row = told(shop, possible=cracked, words="Left, below the tank")
    sent = boxes(front_desk, f"/parts/{shop.part.uid}/damage-found/?report={row.uid}")
    assert (sent["found-what"], sent["found-note"]) == (f"usual-{cracked.pk}", "Left, below the tank")


def test_what_was_wrong_in_the_form_keeps_the_report_with_it(shop: Bench, front_desk: Client) -> None:
    row = told(shop)
    where = f"/parts/{shop.part.uid}/damage-found/"
    sent = boxes(front_desk, f"{where}?report={row.uid}") | {"found-note": "", "report": str(row.uid)}
    answer = front_desk.post(where, sent)
    assert answer.status_code == 422
    assert f'name="report" value="{row.uid}"' in answer.content.decode()
    assert DamageReport.objects.get().settled_at is None


def test_two_at_the_desk_record_one_report_once(shop: Bench, front_desk: Client) -> None:
    row = told(shop)
    where = f"/parts/{shop.part.uid}/damage-found/"
    sent = boxes(front_desk, f"{where}?report={row.uid}") | {"report": str(row.uid)}
    front_desk.post(where, sent)
    answer = front_desk.post(where, sent | {"found-uid": str(uuid.uuid4())})
    assert answer.status_code == 422
    assert "settled it already" in answer.content.decode()
    assert PartDamage.objects.count() == 1
    assert front_desk.post(where, sent).status_code == 302  # the very same form, sent twice
    assert PartDamage.objects.count() == 1


def test_no_damage_is_settled_with_a_reason_that_the_bench_reads(shop: Bench, front_desk: Client) -> None:
    row = told(shop)
    assert front_desk.post(f"/reports/{row.uid}/", {"reason": ""}).status_code == 422
    front_desk.post(f"/reports/{row.uid}/", {"reason": "A scratch in the old coat"})
    row.refresh_from_db()
    assert row.settled_as == "No damage: A scratch in the old coat"
    answer = front_desk.post(f"/reports/{row.uid}/", {"reason": "Again"}, follow=True)
    assert "settled it already" in answer.content.decode()
    assert "make an offer" not in front_desk.get(f"/reports/{row.uid}/").content.decode()


def test_on_pieces_that_were_split_it_leads_to_the_part_that_the_offer_is_about(
    shop: Bench, front_desk: Client
) -> None:
    piece = split_part(part=shop.part, pieces=1, **WHO)
    row = told(shop, part=piece)
    page = front_desk.get(f"/reports/{row.uid}/").content.decode()
    assert f"/parts/{shop.part.uid}/damage-found/?report={row.uid}" in page
    sent = boxes(front_desk, f"/parts/{shop.part.uid}/damage-found/?report={row.uid}")
    assert sent["found-name"] == "Lug cracked"


def test_a_report_of_another_part_fills_no_form(shop: Bench, front_desk: Client) -> None:
    from tests.workshop import frame

    other = frame(shop.bike, shop.shop, name="Stand")
    row = told(shop)
    assert front_desk.get(f"/parts/{other.uid}/damage-found/?report={row.uid}").context["report"] is None


def test_the_bench_settles_nothing(shop: Bench, mechanic: Client) -> None:
    assert mechanic.get(f"/reports/{told(shop).uid}/").status_code == 403


def scrapped(shop: Bench) -> Rework:
    done(step=shop.blast, person=shop.joe, now=NOW)
    given: dict[str, Any] = {"came_from": None, "cause": shop.cause, "pieces": 2, "scrapped": 1, "person": shop.joe}
    return again(uid=uuid.uuid4(), step=shop.blast, visit=1, back_to=shop.blast, **given, now=NOW)


def test_a_replacement_waits_for_its_price(shop: Bench, front_desk: Client, mechanic: Client) -> None:
    row = scrapped(shop)
    where = f"/replacements/{row.uid}/"
    assert where in front_desk.get("/").content.decode()
    assert mechanic.get(where).status_code == 403
    assert front_desk.post(where, {"cost": ""}).status_code == 422
    front_desk.post(where, {"cost": "45.50"})
    row.refresh_from_db()
    assert row.replacement_minor == 4_550
    assert replacements(timezone.localdate()).rows == []


def test_the_lists_ask_as_much_for_many_as_for_one(shop: Bench, front_desk: Client) -> None:
    scrapped(shop)
    counts = []
    for _turn in range(2):
        for _number in range(4):
            told(shop)
        with CaptureQueriesContext(connection) as found:
            rows = (reports(timezone.localdate()).rows, replacements(timezone.localdate()).rows)
            _shown = [str(row.restoration) + row.text for group in rows for row in group]
        counts.append(len(found))
    assert counts[0] == counts[1] == 2
