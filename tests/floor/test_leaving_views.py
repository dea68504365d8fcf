"""The pages before a bike leaves: on a tablet and signed in, each tap a form of its own, and no customer on any of them."""

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop.floor.models import Run, RunTick, Snag
from shop.methods.models import Stage
from shop.people.models import User
from tests.floor.bench import Bench
from tests.floor.leaves import check, looked_at, run
from tests.floor.test_doing_views import ann, joe, shop, tablet, text  # noqa: F401  (fixtures)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def list_of_checks(db: None) -> None:
    looked_at()


def leaving(shop: Bench) -> str:  # noqa: F811
    return f"/floor/restorations/{shop.bike.uid}/leaving/"


def begun(shop: Bench, client: Client, stage: str = Stage.ROAD_TEST, **more: str) -> Run:  # noqa: F811
    answer = client.post(f"/floor/restorations/{shop.bike.uid}/runs/", {"stage": stage} | more)
    row = Run.objects.get(stage=stage, finished_at__isnull=True)
    assert answer["Location"].startswith(f"/floor/runs/{row.uid}/")
    return row


def test_a_run_is_begun_ticked_and_finished_with_a_tap_each(shop: Bench, joe: Client) -> None:  # noqa: F811
    assert str(shop.bike) in text(joe.get("/floor/leaving/"))
    assert "missing" in text(joe.get(leaving(shop)))
    row = begun(shop, joe)
    at = f"/floor/runs/{row.uid}/"
    answer = joe.post(f"{at}tick/", {"check": str(check("Brakes at walking pace").uid), "right": "1"})
    assert answer["Location"].endswith(f"#check-{check('Lights').uid}")
    assert "1 left" in text(joe.get(at))
    refused = joe.post(f"{at}finish/", {"distance": "12"})
    assert refused.status_code == 422
    assert "Not ticked yet: Lights" in text(refused)
    joe.post(f"{at}tick/", {"check": str(check("Lights").uid), "right": "0", "note": "stop lamp dark"})
    assert Snag.objects.get().words == "Lights: stop lamp dark"
    missing = joe.post(f"{at}finish/", {"distance": "", "note": "Wet road"})
    assert "Say how far it went" in text(missing)
    assert 'value="Wet road"' in missing.content.decode()
    assert joe.post(f"{at}finish/", {"distance": "12,5", "note": "Wet road"}).status_code == 302
    row.refresh_from_db()
    assert (str(row.distance), row.note) == ("12.5", "Wet road")


def test_a_snag_is_noted_traced_and_settled(shop: Bench, joe: Client) -> None:  # noqa: F811
    form = joe.get(leaving(shop)).content.decode()
    uid = re.search(r'name="uid" value="([^"]+)"', form)
    assert uid
    sent = {"uid": uid[1], "words": "Runs on the lug"}
    for _ in range(2):
        joe.post(f"/floor/restorations/{shop.bike.uid}/snags/", sent)
    row = Snag.objects.get()
    at = f"/floor/snags/{row.uid}/"
    assert f"{shop.part}: {shop.spray}" in text(joe.get(at, {"words": "spray"}))
    joe.post(f"{at}step/", {"step": str(shop.spray.uid)})
    page = joe.get(at).content.decode()
    assert f"/floor/steps/{shop.spray.uid}/again/?next={at}" in page
    empty = joe.post(f"{at}settle/", {"how": ""})
    assert empty.status_code == 422
    joe.post(f"{at}settle/", {"how": "Rubbed down, coated anew"})
    assert "Rubbed down, coated anew" in text(joe.get(leaving(shop)))


def test_nothing_noted_about_a_snag_is_said_at_its_box(shop: Bench, joe: Client) -> None:  # noqa: F811
    refused = joe.post(f"/floor/restorations/{shop.bike.uid}/snags/", {"uid": str(shop.part.uid), "words": ""})
    assert refused.status_code == 422
    assert not Snag.objects.exists()


def test_on_a_tablet_somebody_says_first_who_they_are(shop: Bench, tablet: Client) -> None:  # noqa: F811
    row = begun(shop, tablet, person=str(shop.joe.uid))
    assert "Who are you?" in text(tablet.get(f"/floor/runs/{row.uid}/"))
    sent = {"check": str(check("Lights").uid), "right": "1"}
    said = tablet.post(f"/floor/runs/{row.uid}/tick/", sent, follow=True)
    assert "Say first who you are" in text(said)
    assert not RunTick.objects.exists()
    tablet.post(f"/floor/runs/{row.uid}/tick/", sent | {"person": str(shop.joe.uid)})
    assert RunTick.objects.get().person == shop.joe


def test_a_run_begun_by_mistake_is_taken_back(shop: Bench, joe: Client) -> None:  # noqa: F811
    row = begun(shop, joe)
    assert joe.post(f"/floor/runs/{row.uid}/take-back/", {}).status_code == 302
    assert not Run.objects.exists()


def test_a_stage_that_is_none_is_said_and_nothing_begins(shop: Bench, joe: Client) -> None:  # noqa: F811
    joe.post(f"/floor/restorations/{shop.bike.uid}/runs/", {"stage": "flight"})
    assert not Run.objects.exists()


def test_no_page_shows_the_customer(shop: Bench, tablet: Client, ann: User) -> None:  # noqa: F811
    shop.bike.customer.name = "Mrs Secret"
    shop.bike.customer.save()
    row = begun(shop, tablet, person=str(shop.joe.uid))
    snag = Snag.objects.create(restoration=shop.bike, words="Rattles", person=ann, at=row.at)
    for at in ("/floor/leaving/", leaving(shop), f"/floor/runs/{row.uid}/", f"/floor/snags/{snag.uid}/?words=frame"):
        answer = tablet.get(at)
        assert answer.status_code == 200
        assert "Secret" not in answer.content.decode(), at


def test_whoever_only_looks_at_an_address_of_a_form_is_led_to_its_page(shop: Bench, joe: Client) -> None:  # noqa: F811
    row = begun(shop, joe)
    for address, page in (
        (f"/floor/runs/{row.uid}/tick/", f"/floor/runs/{row.uid}/"),
        (f"/floor/runs/{row.uid}/finish/", f"/floor/runs/{row.uid}/"),
        (f"/floor/runs/{row.uid}/take-back/", "/floor/leaving/"),
        (f"/floor/restorations/{shop.bike.uid}/runs/", leaving(shop)),
        (f"/floor/restorations/{shop.bike.uid}/snags/", leaving(shop)),
    ):
        assert joe.get(address)["Location"] == page


def queries(client: Client, at: str) -> int:
    client.get(at)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert client.get(at).status_code == 200
    return len(asked)


def test_the_pages_ask_the_same_with_one_run_and_snag_as_with_many(shop: Bench, joe: Client) -> None:  # noqa: F811
    run(shop.bike, shop.joe, Stage.ROAD_TEST, wrong="Lights")
    row: Any = begun(shop, joe)
    before = [queries(joe, at) for at in (leaving(shop), f"/floor/runs/{row.uid}/")]
    for number in range(6):
        run(shop.bike, shop.joe, Stage.FIRST_START, wrong="No leaks")
        Snag.objects.create(
            restoration=shop.bike, words=f"Rattles {number}", person=shop.joe, step=shop.spray, at=row.at
        )
    assert [queries(joe, at) for at in (leaving(shop), f"/floor/runs/{row.uid}/")] == before
