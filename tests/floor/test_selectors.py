"""Minutes as pages and costs read them: from clockings, in a fixed number of queries, adding up."""

from datetime import date, time
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from shop.floor.models import Clocking
from shop.floor.selectors import day_of, minutes_by_step, minutes_by_task, on_tasks, open_clockings, week
from shop.people.models import Break, User
from shop.routes.models import Authorisation, Task, TaskStep
from shop.routes.presence import on_tasks as present
from tests.floor.conftest import at, tap, task
from tests.workshop import frame, restoration, workshop

pytestmark = pytest.mark.django_db


def noted(who: User, to: Task, began: Any, ended: Any, **more: Any) -> Clocking:
    how = "recalled" if ended else ""
    return Clocking.objects.create(
        person=who, task=to, began_at=began, ended_at=ended, ended_how=how, recorded_by="joe", **more
    )


def test_minutes_of_a_task_are_those_of_everybody_without_breaks(joe: User, ann: User, wheels: Task) -> None:
    Break.objects.create(name="Noon", begins=time(12), ends=time(12, 30))
    noted(joe, wheels, at(11), at(13))
    noted(ann, wheels, at(12), at(14), through_breaks=True)
    assert minutes_by_task([wheels.pk], now=at(18)) == {wheels.pk: 90 + 120}


def test_what_was_superseded_counts_for_nothing_and_what_runs_counts_until_now(joe: User, wheels: Task) -> None:
    from shop.floor.corrections import correct

    row = noted(joe, wheels, at(8), at(9))
    correct(person=joe, replaced=[row], rows=[], reason="Ill", who="joe", now=at(10))
    tap(joe, wheels, now=at(10, 0, 30))
    assert minutes_by_task(now=at(10, 45)) == {wheels.pk: 45}


def test_a_day_says_what_where_and_what_is_missing(joe: User, wheels: Task, tank: Task) -> None:
    Break.objects.create(name="Tea", begins=time(10), ends=time(10, 15), paid=True)
    noted(joe, wheels, at(8), at(11))
    noted(joe, tank, at(11, 30), at(12))
    tap(joe, tank, now=at(13))
    day = day_of(joe, date(2026, 3, 3), now=at(13, 20))
    assert [(line.row.task.name, line.minutes, line.open) for line in day.lines] == [
        ("Strip the wheels", 165, False),
        ("Rub down the tank", 30, False),
        ("Rub down the tank", 20, True),
    ]
    assert (day.on_tasks, day.attended.paid_break, day.attended.minutes) == (215, 15, 230)
    assert day.gaps == [(at(11), at(11, 30)), (at(12), at(13))]
    assert [line.recalled for line in day.lines] == [True, True, False]


def test_a_shift_over_midnight_is_on_both_days_and_no_minute_twice(joe: User, wheels: Task) -> None:
    noted(joe, wheels, at(22), at(3, day=4))
    days = [day_of(joe, date(2026, 3, day), now=at(18, day=4)).attended.minutes for day in (3, 4)]
    assert days == [120, 180]
    ((who, minutes),) = week(date(2026, 3, 4), 3, now=at(18, day=4))
    assert (who, list(minutes.values())) == (joe, [0, 120, 180])


def test_the_days_are_those_of_the_shop_s_clock(joe: User, wheels: Task, settings: Any) -> None:
    with timezone.override("Australia/Lord_Howe"):
        noted(joe, wheels, at(12), at(14))  # 23:00 to 01:00 there
        days = [day_of(joe, date(2026, 3, day), now=at(18, day=4)).attended.minutes for day in (3, 4)]
    assert days == [60, 60]


def test_minutes_of_a_task_are_shared_over_its_steps_by_run_time_and_add_up(joe: User) -> None:
    of = restoration()
    shop = workshop()
    steps = [step for area in (60, 30, 7) for step in frame(of, shop, name=f"F{area}", area=Decimal(area)).steps.all()]
    blasts = [step for step in steps if step.operation == shop.blast]
    batch = task("Blast", kind=Task.Kind.BIKE, restoration=of)
    for step in blasts:
        Authorisation.objects.create(step_uid=step.uid, kind="standing", reference="x", at=at(7))
        TaskStep.objects.create(task=batch, step=step)
    noted(joe, batch, at(8), at(9, 41))
    shares = minutes_by_step([batch.pk], now=at(18))
    assert sum(shares.values()) == 101
    assert [shares[step.pk] for step in blasts] == [63, 31, 7]  # 62.47, 31.24 and 7.29 of 101


def test_a_task_without_steps_shares_nothing(joe: User, wheels: Task) -> None:
    noted(joe, wheels, at(8), at(9))
    assert minutes_by_step([wheels.pk], now=at(18)) == {}


def test_routes_know_who_is_on_what(joe: User, ann: User, wheels: Task) -> None:
    tap(joe, wheels, now=at(9))
    tap(ann, wheels, now=at(9))
    tap(ann, now=at(10))
    assert on_tasks() == {wheels.pk: {joe.pk}} == present()
    assert [row.person for row in open_clockings()] == [joe]


@pytest.mark.parametrize("count", [1, 30])
def test_reading_takes_as_many_queries_for_many_clockings_as_for_one(
    joe: User, wheels: Task, django_assert_num_queries: Any, count: int
) -> None:
    for number in range(count):
        noted(joe, task(f"T{number}"), at(8, number), at(8, number + 1))
    with django_assert_num_queries(2):
        day_of(joe, date(2026, 3, 3), now=at(18))
    with django_assert_num_queries(2):
        minutes_by_task(now=at(18))
    with django_assert_num_queries(2):
        week(date(2026, 3, 3), 7, now=at(18))
