"""What there is to be reminded of, as plain values: events with keys made from themselves. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from shop.people.roles import ROLE_DESK, ROLE_MANAGER
from shop.vendor_jobs.models import Kind
from shop.vendor_jobs.reminding.days import WorkingDays
from shop.vendor_jobs.reminding.rules import Rules, Said

DESK, MANAGER = 0, 1


@dataclass(frozen=True, slots=True)
class Event:
    """One true event at one level. Found twice it has the same ``key``, and so is one row."""

    key: str
    kind: Kind
    level: int
    about_on: date
    vendor: int | None = None
    job: int | None = None
    order: int | None = None
    step: int | None = None
    restoration: int | None = None

    @property
    def role(self) -> str:
        return ROLE_MANAGER if self.level else ROLE_DESK


@dataclass(frozen=True, slots=True)
class About:
    """What an event is about. ``key`` tells it from others of its kind."""

    key: str
    on: date
    vendor: int | None = None
    job: int | None = None
    order: int | None = None
    step: int | None = None
    restoration: int | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """A lot that is out, and the day told last; ``promise`` is 0 where nobody told one, and the day is by its lead time."""

    job: int
    uid: UUID
    vendor: int
    promise: int
    due_on: date


@dataclass(frozen=True, slots=True)
class Calendar:
    """Today in the shop, its working days, and those of vendors by key."""

    today: date
    shop: WorkingDays
    vendors: dict[int, WorkingDays]


def event(kind: Kind, about: About, level: int = DESK) -> Event:
    """An event at a level; only one that climbs says so in its key."""
    key = f"{kind}/{about.key}/{level}"
    return Event(key, kind, level, about.on, about.vendor, about.job, about.order, about.step, about.restoration)


def before(kind: Kind, about: About, rules: Rules, days: Calendar) -> Iterable[Event]:
    """So many working days before its day has come: from then on, also when nobody looked on that very day."""
    said = rules.of(kind, about.vendor)
    return _climbing(kind, about, said, days.shop.shift(about.on, -said.days), days)


def late(kind: Kind, about: About, rules: Rules, days: Calendar) -> Iterable[Event]:
    """So many working days after its day have passed."""
    said = rules.of(kind, about.vendor)
    return _climbing(kind, about, said, days.shop.shift(about.on, said.days), days)


def _climbing(kind: Kind, about: About, said: Said, since: date, days: Calendar) -> Iterable[Event]:
    if not said.on or days.today < since:
        return
    yield event(kind, about)
    if said.climbs_after is not None and days.today >= days.shop.shift(since, said.climbs_after):
        yield event(kind, about, MANAGER)


def of_what_is_out(told: Told, rules: Rules, days: Calendar) -> Iterable[Event]:
    """A ladder: due soon, due today, overdue. Only the rung that is reached is true, so whoever looks late tells it once."""
    about = About(f"{told.uid}/{told.promise}", told.due_on, told.vendor, told.job)
    overdue = list(late(Kind.OVERDUE, about, rules, days))
    if overdue:
        yield from overdue
    elif days.today >= told.due_on:
        yield from _at_once(Kind.DUE_TODAY, about, rules)
    else:
        yield from before(Kind.DUE_SOON, about, rules, days)
    shut = days.vendors.get(told.vendor)
    if shut is not None and days.today <= told.due_on and not shut.works(told.due_on):
        yield from _at_once(Kind.CLOSED_DAY, about, rules)


def of_what_may_leave(about: About, rules: Rules) -> Iterable[Event]:
    return _at_once(Kind.MAY_LEAVE, about, rules)


def _at_once(kind: Kind, about: About, rules: Rules) -> Iterable[Event]:
    if rules.of(kind, about.vendor).on:
        yield event(kind, about)
