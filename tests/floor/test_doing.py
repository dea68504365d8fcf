"""Done with its checks, a whole task at once, fewer pieces than went, and what has to be done again."""

import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError

from shop.floor.checks import answer_check, checks_of, known_step
from shop.floor.doing import again, done, done_all, price_replacement, split_short
from shop.floor.models import Clocking, Rework
from shop.floor.not_again import not_again
from shop.journal.models import Entry
from shop.methods.models import Cause
from shop.people.models import User
from shop.people.roles import ROLE_DESK
from shop.routes.models import Done, Step, Task, TaskStep
from shop.routes.progress import states_of
from tests.floor.bench import Bench, agree, bench, check
from tests.workshop import NOW, frame, restoration

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Bench:
    return bench()


def finish(shop: Bench, *steps: Step) -> None:
    for step in steps:
        done(step=step, person=shop.joe, now=NOW)


def send_back(shop: Bench, step: Step, back_to: Step | None = None, **fields: Any) -> Rework:
    step.refresh_from_db()
    given: dict[str, Any] = {
        "uid": uuid.uuid4(),
        "visit": step.visit,
        "came_from": None,
        "cause": shop.cause,
        "pieces": 1,
        "person": shop.joe,
        "now": NOW,
    }
    return again(step=step, back_to=back_to or step, **given | fields)


def visits(shop: Bench) -> list[int]:
    return list(shop.part.steps.order_by("position").values_list("visit", flat=True))


# -- done --------------------------------------------------------------------------------------------------------------


def test_done_gives_back_what_became_ready(shop: Bench) -> None:
    assert done(step=shop.blast, person=shop.joe, now=NOW) == [shop.spray]
    assert done(step=shop.blast, person=shop.joe, now=NOW) == []
    assert Done.objects.get().who == "joe"


def test_what_waits_is_not_done_even_if_it_was_checked(shop: Bench) -> None:
    row = check(shop.shop.spray)
    answer_check(step=shop.spray, check=row, visit=1, as_it_should=True, person=shop.joe, now=NOW)
    with pytest.raises(ValidationError, match="comes first"):
        done(step=shop.spray, person=shop.joe, now=NOW)


def test_a_task_is_done_for_all_its_steps_but_those_that_a_check_holds_which_are_named(shop: Bench) -> None:
    other = frame(shop.bike, shop.shop, name="Stand")
    agree(shop.bike)
    stand = other.steps.order_by("position")[0]
    task = shop.task(shop.blast)
    assert shop.task(stand) == task
    row = check(shop.shop.blast)
    answer_check(step=stand, check=row, visit=1, as_it_should=True, person=shop.joe, now=NOW)
    found = done_all(task=task, person=shop.joe, now=NOW)
    assert found.done == [stand]
    assert [(one.step, one.why) for one in found.held] == [(shop.blast, ["“Threads masked” is not answered yet."])]
    assert [str(step.part) for step in found.ready] == ["Stand"]


def test_a_task_with_steps_that_follow_each_other_is_done_in_their_order(shop: Bench) -> None:
    rework = send_back_whole(shop)
    found = done_all(task=rework.task, person=shop.joe, now=NOW)
    assert found.done == [shop.blast, shop.spray]
    assert found.held == []
    assert found.ready == [shop.fit]


def send_back_whole(shop: Bench) -> Rework:
    finish(shop, shop.blast, shop.spray)
    return send_back(shop, shop.spray, shop.blast)


def test_work_before_a_redo_is_done_with_its_task(shop: Bench) -> None:
    finish(shop, shop.blast, shop.spray)
    rework = send_back(shop, shop.spray, remedies=[shop.shop.strip])
    found = done_all(task=rework.task, person=shop.joe, now=NOW)
    assert [str(one) for one in found.remedies] == ["Strip a coat"]
    assert found.done == [shop.spray]


# -- pieces that are missing ----------------------------------------------------------------------------------------


def test_pieces_that_are_missing_become_a_part_of_their_own_and_the_others_go_on() -> None:
    shop = bench(pieces=48)
    row = check(shop.shop.blast, "Counted", kind="count")
    given: dict[str, Any] = {"step": shop.blast, "check": row, "visit": 1, "person": shop.joe, "now": NOW}
    with pytest.raises(ValidationError, match="Nothing is missing"):
        split_short(**given)
    answer_check(**given, value=Decimal(46))
    missing = split_short(**given)
    shop.part.refresh_from_db()
    assert (shop.part.pieces, missing.pieces) == (46, 2)
    assert done(step=shop.blast, person=shop.joe, now=NOW) == [shop.spray]
    (theirs,) = checks_of(known_step(missing.steps.get(split_from=shop.blast).pk))
    assert theirs.result is None


@pytest.mark.parametrize("counted", [Decimal(0), Decimal(49), Decimal("46.5")])
def test_only_a_whole_number_of_some_of_the_pieces_can_go_on(counted: Decimal) -> None:
    shop = bench(pieces=48)
    row = check(shop.shop.blast, "Counted", kind="count")
    given: dict[str, Any] = {"step": shop.blast, "check": row, "visit": 1, "person": shop.joe, "now": NOW}
    answer_check(**given, value=counted)
    with pytest.raises(ValidationError):
        split_short(**given)


# -- again -------------------------------------------------------------------------------------------------------------


def test_again_opens_the_steps_from_where_it_goes_back_to_in_a_task_of_rework(shop: Bench) -> None:
    finish(shop, shop.blast, shop.spray)
    row = send_back(shop, shop.spray, shop.blast, came_from=shop.blast, note="Dripped", remedies=[shop.shop.strip])
    assert visits(shop) == [2, 2, 1]
    assert (row.visit, row.task.kind, row.cause, row.note) == (1, Task.Kind.REWORK, shop.cause, "Dripped")
    assert [str(one) for one in row.task.remedies.all()] == ["Strip a coat"]
    assert Done.objects.filter(undone_at=None).count() == 2
    state = states_of(shop.bike, now=NOW)[shop.blast.pk]
    assert state.sentences == ("“Strip a coat” comes first, so that it can be done again.",)
    after = Entry.objects.get(what="rework noted").after
    assert "Runs in the coat" in after
    assert "Frame: Blast" in after


def test_the_same_form_sent_twice_sends_back_once(shop: Bench) -> None:
    finish(shop, shop.blast)
    uid = uuid.uuid4()
    first = send_back(shop, shop.blast, uid=uid)
    assert send_back(shop, shop.blast, uid=uid, visit=1) == first
    assert Rework.objects.count() == 1
    assert visits(shop)[0] == 2


def test_another_form_seen_before_it_was_sent_back_is_refused(shop: Bench) -> None:
    finish(shop, shop.blast)
    send_back(shop, shop.blast)
    with pytest.raises(ValidationError, match="opened anew meanwhile"):
        send_back(shop, shop.blast, visit=1)


def test_where_it_came_from_lies_before_it_or_on_another_part_of_the_bike(shop: Bench) -> None:
    finish(shop, shop.blast)
    with pytest.raises(ValidationError, match="comes after this one"):
        send_back(shop, shop.blast, came_from=shop.spray)
    elsewhere = frame(restoration("Another"), shop.shop).steps.order_by("position")[0]
    with pytest.raises(ValidationError, match="another bike"):
        send_back(shop, shop.blast, came_from=elsewhere)
    beside = frame(shop.bike, shop.shop, name="Stand").steps.order_by("position")[1]
    assert send_back(shop, shop.blast, came_from=beside).came_from == beside


def test_it_goes_back_on_its_own_route_only(shop: Bench) -> None:
    finish(shop, shop.blast)
    beside = frame(shop.bike, shop.shop, name="Stand").steps.order_by("position")[0]
    for back_to in (beside, shop.spray):
        with pytest.raises(ValidationError) as refused:
            send_back(shop, shop.blast, back_to)
        assert list(refused.value.error_dict) == ["back_to"]
    assert visits(shop) == [1, 1, 1]


@pytest.mark.parametrize(
    ("fields", "box"),
    [({"pieces": 5}, "pieces"), ({"pieces": 0}, "pieces"), ({"pieces": 2, "scrapped": 3}, "scrapped")],
)
def test_pieces_that_are_not_there_are_refused_at_their_box(fields: dict[str, Any], box: str) -> None:
    shop = bench(pieces=4)
    finish(shop, shop.blast)
    with pytest.raises(ValidationError) as refused:
        send_back(shop, shop.blast, **fields)
    assert list(refused.value.error_dict) == [box]
    assert not Rework.objects.exists()


def test_a_cause_that_is_not_used_any_more_is_refused(shop: Bench) -> None:
    finish(shop, shop.blast)
    old = Cause.objects.create(name="Of old", ended=True)
    with pytest.raises(ValidationError, match="not used any more"):
        send_back(shop, shop.blast, cause=old)


def test_only_some_pieces_go_back_and_the_others_go_on() -> None:
    shop = bench(pieces=10)
    finish(shop, shop.blast, shop.spray)
    row = send_back(shop, shop.spray, shop.blast, pieces=3, apart=True)
    shop.part.refresh_from_db()
    assert (shop.part.pieces, row.step.part.pieces, row.step.part.split_from) == (7, 3, shop.part)
    assert visits(shop) == [1, 1, 1]
    assert list(row.step.part.steps.order_by("position").values_list("visit", flat=True)) == [2, 2, 1]
    assert states_of(shop.bike, now=NOW)[shop.fit.pk].is_ready


def test_what_is_scrapped_waits_for_what_its_replacement_costs(shop: Bench) -> None:
    finish(shop, shop.blast)
    row = send_back(shop, shop.blast, scrapped=1)
    assert row.replacement_minor is None
    with pytest.raises(ValidationError, match="Give 0 or more"):
        price_replacement(rework=row, cost_minor=-1, who="ada", now=NOW)
    price_replacement(rework=row, cost_minor=4_500, who="ada", now=NOW)
    assert Rework.objects.get().replacement_minor == 4_500
    whole = send_back(shop, shop.blast, now=NOW + timedelta(hours=1))
    with pytest.raises(ValidationError, match="Nothing was scrapped"):
        price_replacement(rework=whole, cost_minor=1, who="ada", now=NOW)


# -- taken back --------------------------------------------------------------------------------------------------------


def test_a_slip_is_taken_back_on_the_same_day_and_all_is_as_it_was(shop: Bench) -> None:
    finish(shop, shop.blast, shop.spray)
    before = sorted(TaskStep.objects.values_list("task", "step", "visit"))
    row = send_back(shop, shop.spray, shop.blast)
    not_again(rework=row, person=shop.joe, now=NOW + timedelta(hours=1))
    assert visits(shop) == [1, 1, 1]
    assert sorted(TaskStep.objects.values_list("task", "step", "visit")) == before
    assert not Rework.objects.exists()
    assert not Task.objects.filter(kind=Task.Kind.REWORK, closed_at=None).exists()
    state = states_of(shop.bike, now=NOW)
    assert state[shop.spray.pk].is_done
    assert state[shop.fit.pk].is_ready
    assert send_back(shop, shop.spray, shop.blast, now=NOW + timedelta(hours=2))


def test_vendor_work_that_was_opened_is_taken_back_too(shop: Bench) -> None:
    part = frame(shop.bike, shop.shop, name="Axle", finish=shop.shop.zinc)
    agree(shop.bike)
    plate = part.steps.get()
    finish(shop, plate)
    row = send_back(shop, plate)
    plate.refresh_from_db()
    assert plate.visit == 2
    not_again(rework=row, person=shop.joe, now=NOW)
    plate.refresh_from_db()
    assert plate.visit == 1


def test_it_stays_once_somebody_worked_on_it_or_another_day_has_come(shop: Bench) -> None:
    finish(shop, shop.blast)
    row = send_back(shop, shop.blast)
    with pytest.raises(ValidationError, match="another day"):
        not_again(rework=row, person=shop.joe, now=NOW + timedelta(days=1))
    given: dict[str, Any] = {"person": shop.joe, "began_at": NOW, "recorded_by": "joe"}
    Clocking.objects.create(task=row.task, **given)
    with pytest.raises(ValidationError, match="worked on it already"):
        not_again(rework=row, person=shop.joe, now=NOW)
    assert visits(shop)[0] == 2


def test_it_stays_once_something_of_it_is_checked_or_done(shop: Bench) -> None:
    finish(shop, shop.blast)
    row = send_back(shop, shop.blast)
    look = check(shop.shop.blast)
    answer_check(step=shop.blast, check=look, visit=2, as_it_should=True, person=shop.joe, now=NOW)
    with pytest.raises(ValidationError, match="checked already"):
        not_again(rework=row, person=shop.joe, now=NOW)


def test_it_stays_once_it_is_done_again_until_that_is_taken_back(shop: Bench) -> None:
    finish(shop, shop.blast)
    row = send_back(shop, shop.blast)
    finish(shop, shop.blast)
    with pytest.raises(ValidationError, match="done again already"):
        not_again(rework=row, person=shop.joe, now=NOW)
    assert Rework.objects.count() == 1


def test_somebody_elses_is_taken_back_by_the_desk_only(shop: Bench) -> None:
    finish(shop, shop.blast)
    row = send_back(shop, shop.blast)
    tom = User.objects.create(username="tom")
    with pytest.raises(ValidationError, match="Joe said so"):
        not_again(rework=row, person=tom, now=NOW)
    tom.groups.set(Group.objects.filter(name=ROLE_DESK))
    not_again(rework=row, person=User.objects.get(pk=tom.pk), now=NOW)


def test_the_newest_is_taken_back_first(shop: Bench) -> None:
    finish(shop, shop.blast)
    first = send_back(shop, shop.blast)
    finish(shop, shop.blast)
    second = send_back(shop, shop.blast, now=NOW + timedelta(minutes=5))
    with pytest.raises(ValidationError, match="sent back once more"):
        not_again(rework=first, person=shop.joe, now=NOW)
    not_again(rework=second, person=shop.joe, now=NOW)
    shop.blast.refresh_from_db()
    assert shop.blast.visit == 2
