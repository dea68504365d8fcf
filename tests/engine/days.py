"""Calendars and schedules for tests, and a plain way to work by them: minute by minute, from `datetime` alone."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from quotes.engine.inputs import Calendar, Held, Restoration, Schedule
from quotes.engine.plan import plan
from quotes.engine.planned import Plan, PlannedStep
from quotes.engine.rollup import price
from tests.engine import build

WEEKDAYS = tuple((day, 8 * 60, 17 * 60) for day in range(5))
#: A Monday.
START = "2026-03-02"


def calendar(key: str = "", hours: Iterable[tuple[int, int, int]] = WEEKDAYS, **changes: Any) -> Calendar:
    return Calendar(key, changes.pop("name", key or "the shop"), tuple(hours), **changes)


def schedule(*vendors: Calendar, shop: Calendar | None = None, **changes: Any) -> Schedule:
    return Schedule(**({"starts_on": START, "calendars": (shop or calendar(), *vendors)} | changes))


def planned(restoration: Restoration) -> Plan:
    explained = price(restoration)
    return plan(restoration, explained.steps, explained.batches)


def plan_of(*parts: Any, schedule: Schedule | None = None, **changes: Any) -> Plan:
    return planned(build.restoration(*parts, schedule=schedule or globals()["schedule"](), **changes))


def by_uid(made: Plan) -> Mapping[str, PlannedStep]:
    return {step.uid: step for step in made.steps}


@dataclass
class Minutes:
    """A calendar as the plain list of its minutes."""

    open: list[bool]
    first: date
    longest: int

    @classmethod
    def of(cls, given: Calendar, first: date, days: int, held: Iterable[Held] = ()) -> "Minutes":
        off = set(given.closed)
        for span in held:
            day = date.fromisoformat(span.first)
            while day <= date.fromisoformat(span.last):
                off.add(day.isoformat())
                day += timedelta(1)
        week = [
            [any(day == weekday and opens <= m < closes for day, opens, closes in given.hours) for m in range(1440)]
            for weekday in range(7)
        ]
        minutes: list[bool] = []
        for number in range(days):
            day = first + timedelta(number)
            minutes += [False] * 1440 if day.isoformat() in off else week[day.weekday()]
        return cls(minutes, first, max(closes - opens for _, opens, closes in given.hours))

    def opening(self, at: int) -> int:
        while not self.open[at]:
            at += 1
        return at

    def add(self, at: int, minutes: int) -> int:
        while minutes:
            minutes -= self.open[at]
            at += 1
        return at

    def together(self, at: int, minutes: int) -> int:
        """The first opening from ``at`` on with so many minutes in a row, where any day is that long.

        Hours that go on over midnight are two spans, as the calendar lists them.
        """
        at = self.opening(at)
        while minutes <= self.longest and not (
            all(self.open[at : at + minutes]) and at // 1440 == (at + minutes - 1) // 1440
        ):
            at = self.opening(at + 1)
        return at

    def works_on(self, day: int) -> bool:
        return any(self.open[day * 1440 : (day + 1) * 1440])

    def closing(self, day: int) -> int:
        return max(m for m in range(day * 1440, (day + 1) * 1440) if self.open[m]) + 1

    def day_at(self, at: int) -> int:
        """The first working day that closes at ``at`` or later."""
        day = max(0, at // 1440 - 1)
        while not self.works_on(day) or self.closing(day) < at:
            day += 1
        return day

    def after(self, day: int, days: int) -> int:
        while not self.works_on(day):
            day += 1
        for _ in range(days):
            day += 1
            while not self.works_on(day):
                day += 1
        return day

    def at(self, text: str) -> int:
        """Minutes from the first midnight to an instant."""
        return (
            int((datetime.fromisoformat(text) - datetime.combine(self.first, datetime.min.time())).total_seconds())
            // 60
        )

    def day(self, text: str) -> int:
        return (date.fromisoformat(text) - self.first).days
