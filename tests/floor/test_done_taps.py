"""Done, tapped: kept and answered like every tap, applied to what the page showed, and what is held waits with its reason."""

import json
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from shop.floor.checks import answer_check
from shop.floor.clockings import Why
from shop.floor.models import Clocking, Tap
from shop.floor.settling import apply_again, waiting
from shop.floor.taps import Answer, take
from shop.people.models import User
from shop.routes.models import Done, Task
from tests.floor.bench import Bench, agree, bench, check
from tests.floor.conftest import tap, task
from tests.workshop import NOW, frame

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def shop(db: None) -> Bench:
    return bench()


def done(shop: Bench, to: Task, *, lines: Any = None, **more: Any) -> Answer:
    body = json.dumps({"kind": "done", "task": str(to.uid), "lines": lines})
    given = {"uid": uuid.uuid4(), "tablet": None, "device_at": None, "body": body, "now": NOW}
    return take(kind=Tap.Kind.DONE, person=shop.joe, task=to, **given | more)


def shown(to: Task) -> str:
    return ".".join(str(line.pk) for line in to.lines.all())


def test_done_finishes_the_steps_of_the_task_in_the_persons_name(shop: Bench) -> None:
    answer = done(shop, shop.task(shop.blast))
    assert (answer.status, answer.state) == (200, Tap.State.APPLIED)
    assert answer.words == "1 thing is done. Now ready: Spray of Frame."
    row = Done.objects.get()
    assert (row.step, row.who, row.at) == (shop.blast, "joe", NOW)


def test_words_that_end_with_the_time_of_day_end_in_one_dot(shop: Bench) -> None:
    assert tap(shop.joe, shop.task(shop.blast), now=NOW).words == "On “Blast, Black” since 9 a.m."


def test_the_same_tap_again_gets_the_same_answer_and_does_nothing(shop: Bench) -> None:
    uid, to = uuid.uuid4(), shop.task(shop.blast)
    first = done(shop, to, uid=uid)
    assert done(shop, to, uid=uid) == first
    assert Done.objects.count() == Tap.objects.count() == 1


def test_done_already_nothing_follows(shop: Bench) -> None:
    done(shop, shop.task(shop.blast))
    assert done(shop, shop.task(shop.blast)).words == "Nothing is open in this task."
    assert Done.objects.count() == 1


def test_a_late_tap_counts_from_when_it_was_made(shop: Bench) -> None:
    answer = done(shop, shop.task(shop.blast), now=NOW + 3 * HOUR, device_at=NOW + HOUR, queued=True)
    assert answer.status == 200
    assert Done.objects.get().at == NOW + HOUR


def test_who_was_on_it_is_off_once_nothing_is_open_in_it_and_others_stay(shop: Bench) -> None:
    """The time on a task runs until the next one, off or done."""
    frame(shop.bike, shop.shop, name="Stand")
    agree(shop.bike)
    to, ann = shop.task(shop.blast), User.objects.create(username="ann")
    for who in (shop.joe, ann):
        tap(who, to, now=NOW)
    first, second = shown(to).split(".")
    assert "Off" not in done(shop, to, lines=first, now=NOW + HOUR).words
    assert done(shop, to, lines=second, now=NOW + 2 * HOUR).words.endswith("Off “Blast, Black” at 11 a.m.")
    ends = dict(Clocking.objects.values_list("person__username", "ended_at"))
    assert ends == {"joe": NOW + 2 * HOUR, "ann": None}


def test_what_the_page_did_not_show_is_not_done(shop: Bench) -> None:
    """A bracket was agreed to between looking and tapping, or before a late tap arrived: it is not blasted yet."""
    to = shop.task(shop.blast)
    lines = shown(to)
    frame(shop.bike, shop.shop, name="Bracket")
    agree(shop.bike)
    assert to.lines.count() == 2
    assert done(shop, to, lines=lines).status == 200
    assert [row.step for row in Done.objects.all()] == [shop.blast]


def test_what_a_check_holds_waits_with_the_reason_while_the_rest_is_done(shop: Bench) -> None:
    stand = frame(shop.bike, shop.shop, name="Stand").steps.get(operation=shop.shop.blast)
    agree(shop.bike)
    check(shop.shop.blast)
    row = shop.shop.blast.checks.get()
    answer_check(step=stand, check=row, visit=1, as_it_should=True, person=shop.joe, now=NOW)
    answer = done(shop, shop.task(shop.blast))
    assert (answer.status, answer.state, answer.why) == (202, Tap.State.ASKED, Why.HELD)
    assert "1 thing is done." in answer.words
    assert "“Blast” of Frame: “Threads masked” is not answered yet." in answer.words
    assert [done.step for done in Done.objects.all()] == [stand]
    kept = waiting().get()
    with pytest.raises(ValidationError, match="not answered yet"):
        apply_again(tap=kept, who="ada", now=NOW)
    answer_check(step=shop.blast, check=row, visit=1, as_it_should=True, person=shop.joe, now=NOW)
    assert apply_again(tap=kept, who="ada", now=NOW).state == Tap.State.APPLIED
    assert Done.objects.count() == 2
    assert not waiting().exists()


def test_what_was_held_needs_nobody_once_the_person_has_done_it(shop: Bench) -> None:
    row = check(shop.shop.blast)
    assert done(shop, shop.task(shop.blast)).state == Tap.State.ASKED
    answer_check(step=shop.blast, check=row, visit=1, as_it_should=True, person=shop.joe, now=NOW)
    done(shop, shop.task(shop.blast))
    assert not waiting().exists()


@pytest.mark.parametrize("kind", [Task.Kind.INDIRECT, Task.Kind.WALK_IN])
def test_what_has_no_steps_is_settled_elsewhere(shop: Bench, kind: str) -> None:
    answer = done(shop, task("Cleaning", kind=kind))
    assert (answer.status, answer.why) == (202, Why.HELD)
    assert "has no steps to be done" in answer.words


def test_done_for_no_known_task_is_kept(shop: Bench) -> None:
    answer = take(
        uid=uuid.uuid4(), kind="done", person=shop.joe, tablet=None, task=None, device_at=None, body="{}", now=NOW
    )
    assert (answer.why, Tap.objects.get().state) == (Why.UNKNOWN, Tap.State.ASKED)
