"""The pages of checks, done, again and damage: on a tablet and signed in, without scripting, and nothing typed is lost."""

import re
import uuid
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop.floor.models import Checked, DamageReport, Rework
from shop.methods.models import PartKind, PossibleDamage
from shop.papers.models import Photograph
from shop.people import pins, tablets
from shop.people.models import Shop, User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.restorations.models import Part
from shop.routes.models import Done, Step
from tests.floor.bench import Bench, agree, bench, check
from tests.papers.pictures import plain
from tests.workshop import frame

pytestmark = pytest.mark.django_db


def role(person: User, name: str) -> User:
    person.groups.add(Group.objects.get_or_create(name=name)[0])
    return person


@pytest.fixture
def shop() -> Bench:
    made = bench(pieces=10)
    role(made.joe, ROLE_MECHANIC)
    return made


@pytest.fixture
def ann(shop: Bench) -> User:
    return role(User.objects.create(username="ann", first_name="Ann"), ROLE_MECHANIC)


@pytest.fixture
def joe(shop: Bench, ann: User) -> Client:
    """Joe, signed in on his telephone."""
    client = Client()
    client.force_login(shop.joe)
    return client


@pytest.fixture
def tablet(shop: Bench, ann: User) -> Client:
    now = timezone.now()
    _row, secret = tablets.enrol(code=tablets.begin_enrolment(name="Bench", who="ada", now=now), now=now)
    client = Client()
    client.cookies[tablets.cookie_name()] = secret
    return client


def at(step: Step, name: str = "checks") -> str:
    return f"/floor/steps/{step.uid}/{name}/"


def text(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def picture() -> SimpleUploadedFile:
    return SimpleUploadedFile("seen.jpg", plain("JPEG"), "image/jpeg")


# -- checks and done -------------------------------------------------------------------------------------------------


def test_checks_are_answered_and_the_step_is_done_with_one_form(shop: Bench, joe: Client) -> None:
    tick, count = check(shop.shop.blast, "Plugged"), check(shop.shop.blast, "Counted", kind="count")
    sent = {"visit": 1, f"check-{tick.uid}": "yes", f"check-{count.uid}": "10", "then": "done"}
    answer = joe.post(at(shop.blast), sent, follow=True)
    assert "Done: Blast of Frame." in text(answer)
    assert "Now ready: Spray of Frame." in text(answer)
    assert {row.person for row in Checked.objects.all()} == {shop.joe}


def test_what_is_not_answered_holds_it_and_what_was_answered_is_kept(shop: Bench, joe: Client) -> None:
    tick, count = check(shop.shop.blast, "Plugged"), check(shop.shop.blast, "Counted", kind="count")
    answer = joe.post(at(shop.blast), {"visit": 1, f"check-{tick.uid}": "yes", "then": "done"}, follow=True)
    assert "“Counted” is not answered yet." in text(answer)
    assert not Done.objects.exists()
    joe.post(at(shop.blast), {"visit": 1, f"check-{tick.uid}": "yes", f"check-{count.uid}": "10", "then": "done"})
    assert Done.objects.count() == 1
    assert Checked.objects.filter(check_asked=tick).count() == 1


def test_what_is_no_figure_is_said_at_its_box_and_stays_in_it(shop: Bench, joe: Client) -> None:
    count = check(shop.shop.blast, "Counted", kind="count")
    answer = joe.post(at(shop.blast), {"visit": 1, f"check-{count.uid}": "ten"})
    assert answer.status_code == 422
    assert "Give a number in digits" in text(answer)
    assert 'value="ten"' in answer.content.decode()


def test_on_a_tablet_somebody_says_first_who_they_are(shop: Bench, tablet: Client) -> None:
    tick = check(shop.shop.blast)
    assert "Who are you?" in text(tablet.get(at(shop.blast)))
    sent = {"visit": 1, f"check-{tick.uid}": "yes"}
    answer = tablet.post(at(shop.blast), sent)
    assert (answer.status_code, Checked.objects.count()) == (422, 0)
    assert "checked" in answer.content.decode()
    tablet.post(at(shop.blast), sent | {"person": str(shop.joe.uid)})
    assert Checked.objects.get().person == shop.joe


def test_signed_in_one_acts_as_oneself(shop: Bench, joe: Client, ann: User) -> None:
    tick = check(shop.shop.blast)
    sent = {"visit": 1, f"check-{tick.uid}": "yes", "person": str(ann.uid)}
    assert joe.post(at(shop.blast), sent).status_code == 403
    assert not Checked.objects.exists()


def test_where_the_shop_asks_for_a_pin_it_comes_before_the_answer_and_nothing_is_typed_twice(
    shop: Bench, tablet: Client
) -> None:
    Shop.objects.update(pin_to_clock=True)
    pin = pins.give_pin(person=shop.joe, who="eve", now=timezone.now())
    tick = check(shop.shop.blast)
    sent = {"visit": 1, f"check-{tick.uid}": "yes", "person": str(shop.joe.uid)}
    asked = tablet.post(at(shop.blast), sent).content.decode()
    assert not Checked.objects.exists()
    again = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', asked))
    tablet.post(at(shop.blast), again | {"pin": pin})
    assert Checked.objects.count() == 1


@pytest.mark.parametrize("name", ["done", "not-done", "let-pass", "split"])
def test_addresses_that_only_take_a_form_lead_back_to_it(shop: Bench, joe: Client, name: str) -> None:
    assert joe.get(at(shop.blast, name)).headers["Location"] == at(shop.blast)


def test_done_by_mistake_is_taken_back(shop: Bench, joe: Client) -> None:
    joe.post(at(shop.blast, "done"))
    assert "It is not done: take that back" in text(joe.get(at(shop.blast)))
    joe.post(at(shop.blast, "not-done"))
    assert not Done.objects.filter(undone_at=None).exists()


def test_it_goes_on_to_a_page_of_the_floor_and_to_no_other(shop: Bench, joe: Client) -> None:
    assert joe.post(at(shop.blast, "done"), {"next": at(shop.spray)}).headers["Location"] == at(shop.spray)
    for wanted in ("https://elsewhere.example/", "//elsewhere.example/", "/restorations/"):
        went = joe.post(at(shop.blast, "done"), {"next": wanted}).headers["Location"]
        assert went.startswith(at(shop.blast))


# -- let pass ----------------------------------------------------------------------------------------------------------


def test_on_a_tablet_a_pin_is_asked_for_before_anything_is_let_pass(shop: Bench, tablet: Client, ann: User) -> None:
    tick = check(shop.shop.blast)
    tablet.post(at(shop.blast), {"visit": 1, f"check-{tick.uid}": "no", "person": str(shop.joe.uid)})
    eve = role(User.objects.create(username="eve", first_name="Eve"), ROLE_MANAGER)
    pin = pins.give_pin(person=eve, who="eve", now=timezone.now())
    sent = {"visit": 1, "check": str(tick.uid), "passed_by": str(eve.uid), "reason": "Under the seat"}
    sent["person"] = str(shop.joe.uid)
    tablet.post(at(shop.blast, "let-pass"), sent)
    assert not Checked.objects.exclude(passed_by="").exists()
    tablet.post(at(shop.blast, "let-pass"), sent | {"pin": f"{(int(pin) + 1) % 10**6:06}"})
    assert not Checked.objects.exclude(passed_by="").exists()
    tablet.post(at(shop.blast, "let-pass"), sent | {"pin": pin})
    row = Checked.objects.exclude(passed_by="").get()
    assert (row.passed_by, row.reason, row.as_it_should, row.person) == ("Eve", "Under the seat", False, eve)


def test_signed_in_it_is_let_pass_in_ones_own_name_and_not_without_a_reason(shop: Bench, joe: Client) -> None:
    tick = check(shop.shop.blast)
    joe.post(at(shop.blast), {"visit": 1, f"check-{tick.uid}": "no"})
    page = joe.get(at(shop.blast)).content.decode()
    assert 'name="reason"' in page
    assert 'name="passed_by"' not in page
    sent = {"visit": 1, "check": str(tick.uid)}
    assert joe.post(at(shop.blast, "let-pass"), sent).status_code == 422
    joe.post(at(shop.blast, "let-pass"), sent | {"reason": "Under the seat"})
    assert Checked.objects.exclude(passed_by="").get().passed_by == "Joe"


# -- pieces that are missing, and a whole task -----------------------------------------------------------------------


def test_pieces_that_are_missing_are_split_off_from_the_page(shop: Bench, joe: Client) -> None:
    count = check(shop.shop.blast, "Counted", kind="count")
    joe.post(at(shop.blast), {"visit": 1, f"check-{count.uid}": "8"})
    assert "8 of 10 are here" in text(joe.get(at(shop.blast)))
    joe.post(at(shop.blast, "split"), {"visit": 1, "check": str(count.uid)})
    assert sorted(Part.objects.values_list("pieces", flat=True)) == [2, 8]


def test_a_whole_task_is_done_and_what_could_not_be_is_named_with_its_reason(shop: Bench, joe: Client) -> None:
    frame(shop.bike, shop.shop, name="Stand")
    agree(shop.bike)
    tick = check(shop.shop.blast, "Plugged")
    joe.post(at(shop.blast), {"visit": 1, f"check-{tick.uid}": "yes"})
    here = f"/floor/tasks/{shop.task(shop.blast).uid}/done/"
    page = joe.get(here)
    assert "Done: this one" in text(page)
    sent = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page.content.decode().split("data-tap")[1]))
    answer = text(joe.post("/floor/tap/", sent, follow=True))
    assert "1 thing is done." in answer
    assert "Now ready: Spray of Frame." in answer
    assert "Stand: Blast “Plugged” is not answered yet." in answer
    assert Done.objects.count() == 1
    joe.post("/floor/tap/", sent | {"uid": str(uuid.uuid4()), "lines": ""}, follow=True)
    assert Done.objects.count() == 1


def test_all_of_a_task_done_leads_to_what_is_next(shop: Bench, tablet: Client) -> None:
    here = f"/floor/tasks/{shop.task(shop.blast).uid}/done/"
    page = tablet.get(here, {"person": str(shop.joe.uid)}).content.decode()
    sent = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page.split("data-tap")[1]))
    answer = tablet.post("/floor/tap/", sent)
    assert answer.headers["Location"] == f"/floor/people/{shop.joe.uid}/"
    assert Done.objects.get().who == "joe"


def test_nobody_said_who_they_are_and_nothing_is_done(shop: Bench, tablet: Client) -> None:
    sent = {"uid": str(uuid.uuid4()), "kind": "done", "task": str(shop.task(shop.blast).uid), "person": ""}
    assert "Say first who you are." in text(tablet.post("/floor/tap/", sent, follow=True))
    assert not Done.objects.exists()


@pytest.mark.parametrize(
    "page", ["steps/{step}/checks", "steps/{step}/again", "parts/{part}/damage", "tasks/{task}/done"]
)
def test_from_each_page_at_the_bench_a_way_leads_back_to_the_own_tasks(shop: Bench, tablet: Client, page: str) -> None:
    """A tablet shows no button of its browser."""
    known = {"step": shop.blast.uid, "part": shop.part.uid, "task": shop.task(shop.blast).uid}
    html = tablet.get(f"/floor/{page.format(**known)}/", {"person": str(shop.joe.uid)}).content.decode()
    assert f'href="/floor/people/{shop.joe.uid}/">My tasks</a>' in html


def test_a_task_page_asks_as_much_for_many_steps_as_for_one(shop: Bench, joe: Client) -> None:
    check(shop.shop.blast)
    here = f"/floor/tasks/{shop.task(shop.blast).uid}/done/"
    joe.get(here)
    counts = []
    for _turn in range(2):
        with CaptureQueriesContext(connection) as found:
            joe.get(here)
        counts.append(len(found))
        for number in range(5):
            frame(shop.bike, shop.shop, name=f"Bracket {number}")
        agree(shop.bike)
    assert counts[0] == counts[1]


# -- again ---------------------------------------------------------------------------------------------------------------


def form_again(shop: Bench, **more: Any) -> dict[str, Any]:
    step = shop.spray
    given = {"uid": str(uuid.uuid4()), "visit": 1, "cause": str(shop.cause.uid), "back_to": str(shop.blast.uid)}
    return given | {"came_from": str(step.uid), "pieces": "10", "scrapped": "", "note": "Dripped"} | more


@pytest.fixture
def sprayed(shop: Bench, joe: Client) -> Bench:
    for step in (shop.blast, shop.spray):
        joe.post(at(step, "done"))
    return shop


def test_it_is_sent_back_with_cause_remedy_and_photograph(sprayed: Bench, joe: Client) -> None:
    page = joe.get(at(sprayed.spray, "again")).content.decode()
    assert f'value="operation {sprayed.shop.strip.uid}"' in page
    sent = form_again(sprayed, remedies=[f"operation {sprayed.shop.strip.uid}"], file=picture())
    answer = joe.post(at(sprayed.spray, "again"), sent, follow=True)
    row = Rework.objects.get()
    assert "It is done again in “Again: Frame, Spray”: tap that when you begin on it." in text(answer)
    assert (row.cause, row.back_to, row.came_from, row.pieces) == (sprayed.cause, sprayed.blast, sprayed.spray, 10)
    assert [str(one) for one in row.task.remedies.all()] == ["Strip a coat"]
    assert row.photograph
    assert (row.photograph.added_by, row.photograph.caption) == ("joe", "Again: Runs in the coat")


def test_without_a_cause_it_is_refused_and_all_that_was_typed_is_there(sprayed: Bench, joe: Client) -> None:
    answer = joe.post(at(sprayed.spray, "again"), form_again(sprayed, cause="", scrapped="2"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Choose why" in page
    assert 'value="Dripped"' in page
    assert re.search(r'name="scrapped" value="2"', page)
    assert not Rework.objects.exists()


def test_a_photograph_taken_in_before_something_was_refused_stays_with_the_form(sprayed: Bench, joe: Client) -> None:
    answer = joe.post(at(sprayed.spray, "again"), form_again(sprayed, scrapped="11", file=picture()))
    assert answer.status_code == 422
    kept = Photograph.objects.get()
    assert f'name="kept" value="{kept.uid}"' in answer.content.decode()
    joe.post(at(sprayed.spray, "again"), form_again(sprayed, kept=str(kept.uid)))
    assert Rework.objects.get().photograph == kept


def test_nobody_elses_photograph_is_taken_for_ones_own(sprayed: Bench, joe: Client) -> None:
    joe.post(at(sprayed.spray, "again"), form_again(sprayed, scrapped="11", file=picture()))
    Photograph.objects.get()
    other = Photograph.objects.get()
    given = {
        field.name: getattr(other, field.name) for field in Photograph._meta.fields if field.name not in ("id", "uid")
    }
    theirs = Photograph.objects.create(**given | {"added_by": "ann"})
    joe.post(at(sprayed.spray, "again"), form_again(sprayed, kept=str(theirs.uid)))
    assert Rework.objects.get().photograph is None


def test_the_steps_of_another_part_are_shown_and_nothing_typed_is_lost(sprayed: Bench, joe: Client) -> None:
    stand = frame(sprayed.bike, sprayed.shop, name="Stand")
    sent = form_again(sprayed, other=str(stand.uid), show="1", scrapped="3")
    answer = joe.post(at(sprayed.spray, "again"), sent)
    page = answer.content.decode()
    first = stand.steps.order_by("position")[0]
    assert answer.status_code == 200
    assert f'value="{first.uid}"' in page
    assert 'value="Dripped"' in page
    assert 'name="scrapped" value="3"' in page
    joe.post(at(sprayed.spray, "again"), form_again(sprayed, other=str(stand.uid), came_from=str(first.uid)))
    assert Rework.objects.get().came_from == first


def test_only_some_pieces_are_sent_back_apart(sprayed: Bench, joe: Client) -> None:
    joe.post(at(sprayed.spray, "again"), form_again(sprayed, pieces="3", apart="on"))
    row = Rework.objects.get()
    assert (row.step.part.pieces, row.step.part.split_from) == (3, sprayed.part)


def test_a_slip_is_taken_back_from_the_page(sprayed: Bench, joe: Client) -> None:
    joe.post(at(sprayed.spray, "again"), form_again(sprayed))
    row = Rework.objects.get()
    assert f"/floor/again/{row.uid}/take-back/" in joe.get(at(sprayed.spray)).content.decode()
    joe.post(f"/floor/again/{row.uid}/take-back/")
    assert not Rework.objects.exists()
    assert list(sprayed.part.steps.order_by("position").values_list("visit", flat=True)) == [1, 1, 1]


def test_nobody_at_the_bench_sees_money_or_the_customer(sprayed: Bench, joe: Client) -> None:
    sprayed.bike.customer.name, sprayed.bike.customer.phone = "Canary Fenwick", "0700 900461"
    sprayed.bike.customer.save()
    joe.post(at(sprayed.spray, "again"), form_again(sprayed, scrapped="1"))
    row = Rework.objects.get()
    Rework.objects.update(replacement_minor=987_654_321)
    pages = [at(row.step), at(row.step, "again"), f"/floor/parts/{row.step.part.uid}/damage/"]
    pages.append(f"/floor/tasks/{row.task.uid}/done/")
    for page in pages:
        html = joe.get(page).content.decode()
        assert not re.search(r"Canary|900461|9,?876|€|EUR", html), page


# -- damage ----------------------------------------------------------------------------------------------------------------


def test_damage_is_told_with_hours_and_a_photograph_in_the_persons_name(shop: Bench, tablet: Client) -> None:
    here = f"/floor/parts/{shop.part.uid}/damage/"
    sent = {"uid": str(uuid.uuid4()), "words": "Lug cracked", "hours": "2,5", "person": str(shop.joe.uid)}
    answer = tablet.post(here, sent | {"file": picture(), "step": str(shop.blast.uid)}, follow=True)
    row = DamageReport.objects.get()
    assert "The desk has it: Lug cracked." in text(answer)
    assert (str(row.hours), row.person, row.step) == ("2.50", shop.joe, shop.blast)
    assert row.photograph
    assert row.photograph.added_by == "joe"
    assert tablet.get(f"/floor/photographs/{row.photograph.uid}/").headers["Content-Type"] == "image/jpeg"


def test_damage_of_its_kind_is_offered_and_one_or_words_are_needed(shop: Bench, joe: Client) -> None:
    shop.part.kind = PartKind.objects.create(name="Frame")
    shop.part.save()
    costs = {"low_minor": 1, "likely_minor": 2, "high_minor": 3, "frequency": "rare"}
    cracked = PossibleDamage.objects.create(kind=shop.part.kind, name="Cracked lug", **costs)
    here = f"/floor/parts/{shop.part.uid}/damage/"
    assert "Cracked lug" in text(joe.get(here))
    sent = {"uid": str(uuid.uuid4()), "hours": "3"}
    answer = joe.post(here, sent)
    assert answer.status_code == 422
    assert 'name="hours" value="3"' in answer.content.decode()
    joe.post(here, sent | {"possible": str(cracked.uid)})
    assert DamageReport.objects.get().possible == cracked


def test_a_photograph_that_waited_for_a_pin_is_asked_for_again(shop: Bench, tablet: Client) -> None:
    Shop.objects.update(pin_to_clock=True)
    pin = pins.give_pin(person=shop.joe, who="eve", now=timezone.now())
    here = f"/floor/parts/{shop.part.uid}/damage/"
    sent = {"uid": str(uuid.uuid4()), "words": "Lug cracked", "hours": "2", "person": str(shop.joe.uid)}
    asked = tablet.post(here, sent | {"file": picture()}).content.decode()
    again = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', asked))
    answer = tablet.post(here, again | {"pin": pin})
    assert "Choose the photograph again" in text(answer)
    assert 'value="Lug cracked"' in answer.content.decode()
    assert not DamageReport.objects.exists()
    tablet.post(here, sent | {"file": picture()})
    assert DamageReport.objects.get().photograph


# -- photographs -------------------------------------------------------------------------------------------------------


def test_a_tablet_sees_photographs_of_parts_in_work_and_no_others(shop: Bench, tablet: Client) -> None:
    here = f"/floor/parts/{shop.part.uid}/damage/"
    sent = {"uid": str(uuid.uuid4()), "words": "Lug cracked", "hours": "2", "person": str(shop.joe.uid)}
    tablet.post(here, sent | {"file": picture()})
    kept = Photograph.objects.get()
    for tail in ("", "thumbnail/"):
        answer = tablet.get(f"/floor/photographs/{kept.uid}/{tail}")
        assert answer.status_code == 200
        assert answer.headers["Cache-Control"] == "private, no-store"
    DamageReport.objects.all().delete()
    assert tablet.get(f"/floor/photographs/{kept.uid}/").status_code == 404


def test_once_the_bike_is_not_in_work_its_photographs_are_not_shown(shop: Bench, tablet: Client) -> None:
    from shop.routes.models import Task

    here = f"/floor/parts/{shop.part.uid}/damage/"
    sent = {"uid": str(uuid.uuid4()), "words": "Lug cracked", "hours": "2", "person": str(shop.joe.uid)}
    tablet.post(here, sent | {"file": picture()})
    kept = Photograph.objects.get()
    Task.objects.update(closed_at=timezone.now())
    assert tablet.get(f"/floor/photographs/{kept.uid}/thumbnail/").status_code == 404


def test_the_desk_without_other_roles_is_not_at_the_bench(shop: Bench, joe: Client) -> None:
    desk = Client()
    desk.force_login(role(User.objects.create(username="dee"), ROLE_DESK))
    for page in (at(shop.blast), at(shop.blast, "again"), f"/floor/parts/{shop.part.uid}/damage/"):
        assert desk.get(page).status_code == 403
        assert Client().get(page).status_code == 302
