"""What a wall and a tablet show is kept while its rows are the same: whatever changes shows at once, and the clock is not asked."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db.models import Model
from django.utils import timezone

from shop.floor import wall
from shop.floor.briefs import next_for
from shop.floor.models import Clocking
from shop.methods.models import ConditionFactor, StandardTime, Vendor
from shop.rereading import nothing_kept
from shop.routes.finishing import finish_step
from shop.routes.models import Hold, Plan, PlannedStep, Task
from shop.routes.planning import hold
from tests.floor.bench import Bench, agree, bench
from tests.workshop import SINCE, frame

pytestmark = pytest.mark.django_db

Look = Callable[[], object]


@pytest.fixture
def now() -> datetime:
    return timezone.now()


@pytest.fixture
def shop() -> Bench:
    made = bench()
    frame(made.bike, made.shop, name="Lever", finish=made.shop.zinc)
    agree(made.bike)
    return made


def _set(row: Model, **fields: Any) -> None:
    type(row)._default_manager.filter(pk=row.pk).update(**fields)


def _planned(shop: Bench, now: datetime) -> PlannedStep:
    day = timezone.localdate(now)
    days = dict.fromkeys(("starts_on", "ready_certain", "ready_likely", "ready_kept"), day)
    plan = Plan.objects.create(restoration=shop.bike, scope_version=1, made_at=now, **days)
    times = dict.fromkeys(("earliest_start", "earliest_finish", "latest_start", "latest_finish"), now)
    step = next(step for part in shop.bike.parts.all() for step in part.steps.all() if step.service_id)
    return PlannedStep.objects.create(plan=plan, step=step, leave_by=day - timedelta(days=2), **times)


def _changes(shop: Bench, now: datetime) -> Iterator[tuple[str, Callable[[], object]]]:
    """One change after another to what is shown, or to what it is worked out of, past every service."""
    operation, task = shop.blast.operation, shop.task(shop.blast)
    by = {"who": "ada", "now": now}
    yield "a vendor's name", lambda: Vendor.objects.update(name="Elm Platers")
    yield "a bike", lambda: _set(shop.bike, title="Wren Special")
    yield "a plan", lambda: _planned(shop, now)
    yield "a day of the plan", lambda: PlannedStep.objects.update(leave_by=timezone.localdate(now))
    yield "the name of a part", lambda: _set(shop.part, name="Front frame")
    yield "the name of a task", lambda: _set(task, name="Blast it all")
    yield (
        "a standard time",
        lambda: StandardTime.objects.create(
            operation=operation, valid_from=SINCE, revision=2, setup=12, run=7, allowance=15
        ),
    )
    yield (
        "what a worn part takes",
        lambda: ConditionFactor.objects.create(operation=operation, condition=shop.part.condition or "worn", factor=3),
    )
    yield "somebody on it", lambda: Clocking.objects.create(person=shop.joe, task=task, began_at=now, recorded_by="joe")
    yield "that it takes one at a time", lambda: _set(task, alone=True)
    yield (
        "off it again",
        lambda: Clocking.objects.update(ended_at=now + timedelta(minutes=5), ended_how=Clocking.How.TAP),
    )
    yield (
        "a hold",
        lambda: hold(
            restoration=shop.bike,
            kind=Hold.Kind.values[0],
            first=timezone.localdate(now),
            last=None,
            reason="Bank holiday",
            **by,
        ),
    )
    yield "let go", lambda: Hold.objects.update(removed_at=now)
    yield "done", lambda: finish_step(step=shop.blast, **by)
    yield "a task closed", lambda: Task.objects.filter(lines__step=shop.spray).update(closed_at=now)


def _board(shop: Bench, now: datetime) -> Look:
    return lambda: wall.board(timezone.localdate(now))


def _next(shop: Bench, now: datetime) -> Look:
    return lambda: next_for(shop.joe.pk + 1, None, timezone.localdate(now), bike="", most=None)


def _afresh(look: Look) -> object:
    with nothing_kept():
        return look()


BOTH = {"a bike", "the name of a task", "off it again", "a hold", "let go", "done", "a task closed"}
ON_THE_WALL = BOTH | {"a vendor's name", "a plan", "a day of the plan", "somebody on it"}
AT_THE_BENCH = BOTH | {
    "the name of a part",
    "a standard time",
    "what a worn part takes",
    "that it takes one at a time",
}


@pytest.mark.parametrize(("made", "told"), [(_board, ON_THE_WALL), (_next, AT_THE_BENCH)])
def test_whatever_is_changed_shows_at_once(
    shop: Bench, now: datetime, made: Callable[[Bench, datetime], Look], told: set[str]
) -> None:
    """``told`` is what the page shows of it, so that the rest of the test is about something."""
    look = made(shop, now)
    seen = look()
    shown = set()
    for what, change in _changes(shop, now):
        assert look() == look() == seen
        change()
        found = look()
        assert found == _afresh(look), what
        if found != seen:
            shown.add(what)
        seen = found
    assert shown == told


@pytest.mark.parametrize("made", [_board, _next])
def test_neither_asks_the_clock(
    shop: Bench, now: datetime, made: Callable[[Bench, datetime], Look], monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_clock() -> datetime:
        raise AssertionError("the clock was asked")

    look = made(shop, now)
    monkeypatch.setattr(timezone, "now", no_clock)
    assert look() == _afresh(look)


def test_another_day_is_looked_at_anew(shop: Bench, now: datetime) -> None:
    _planned(shop, now)
    today = timezone.localdate(now)
    assert [row.late for row in wall.board(today).leaving] == [True]
    assert [row.late for row in wall.board(today - timedelta(days=3)).leaving] == [False]


def test_for_others_and_where_somebody_is_on_it_is_another_answer(shop: Bench, now: datetime) -> None:
    today, task = timezone.localdate(now), shop.task(shop.blast)
    _set(task, alone=True)
    Clocking.objects.create(person=shop.joe, task=task, began_at=now, recorded_by="joe")
    own, others = (next_for(key, None, today, bike="", most=None) for key in (shop.joe.pk, shop.joe.pk + 1))
    assert task.uid in {card.task for card in own.ready}
    assert task.uid in {card.task for card in others.waiting if card.taken}
    assert task.uid not in {card.task for card in next_for(shop.joe.pk, task.pk, today, bike="", most=None).ready}
