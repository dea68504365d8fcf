"""When somebody works, and what else there is to do."""

from dataclasses import dataclass
from decimal import Decimal

from quotes.engine.inputs.kinds import ZERO


@dataclass(frozen=True, slots=True)
class Calendar:
    """When somebody works: ``hours`` of (weekday from 0 for Monday, opens, closes) [min after midnight], less ``closed`` days.

    Days are ISO dates. Holidays are known up to ``known_until``; empty when there is no such limit. The shop's own
    calendar has the empty key.
    """

    key: str
    name: str
    hours: tuple[tuple[int, int, int], ...]
    closed: tuple[str, ...] = ()
    known_until: str = ""


@dataclass(frozen=True, slots=True)
class Held:
    """Days, both included, on which nothing is done on this restoration, and why."""

    first: str
    last: str
    reason: str


@dataclass(frozen=True, slots=True)
class Settled:
    """A step that nobody has to begin any more: done where ``back`` is empty, else out or on order until the ISO day ``back``."""

    step: str
    back: str = ""


@dataclass(frozen=True, slots=True)
class Schedule:
    """When the work may begin, what of it is done or out by then, and what else the shop has to do.

    ``hands`` people share the work (0: as many as are needed) for ``productive`` of their hours; ``load`` is other
    authorised work before it by place [min], that of people under the empty key. What is ``settled`` on no route counts for
    nothing.
    """

    starts_on: str
    calendars: tuple[Calendar, ...]
    held: tuple[Held, ...] = ()
    hands: Decimal = ZERO
    productive: Decimal = Decimal("0.7")
    load: tuple[tuple[str, Decimal], ...] = ()
    settled: tuple[Settled, ...] = ()
