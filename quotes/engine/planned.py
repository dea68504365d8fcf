"""A plan as plain values: days and instants as ISO text on the shop's own clock, so that it can be kept."""

from dataclasses import dataclass
from enum import StrEnum

from quotes.engine.results import Remark


class SetBy(StrEnum):
    """What decides when a step begins: nothing before it, a step, closed hours, held days, a latest wait, its coming back."""

    START = "start"
    STEP = "step"
    CLOSED = "closed"
    HELD = "held"
    LATEST_WAIT = "latest_wait"
    BACK = "back"


class Bound(StrEnum):
    """What decides the ready day: the longest way through the steps, the hands there are, or a place."""

    PATH = "path"
    HANDS = "hands"
    PLACE = "place"


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """When a step begins and ends, at the earliest and at the latest that keeps the ready day.

    ``slack`` is what lies between its two begins [working min]. ``drivers`` are the batches, by their first step, that
    decide its earliest begin: those that end last; with a latest wait the one that must not be kept waiting. What is out or
    on order begins and ends when it is back; what is done, where nothing open comes before it, when the plan starts.
    """

    uid: str
    part: str
    early_start: str
    early_finish: str
    late_start: str
    late_finish: str
    slack: int
    set_by: SetBy
    drivers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot of ``steps`` to a vendor: when it leaves and is back if all goes early, and when it must at the latest.

    What is out already has no day on which it leaves or must leave: both are empty.
    """

    steps: tuple[str, ...]
    service: str
    vendor: str
    leaves: str
    back: str
    must_leave: str
    must_be_back: str

    @property
    def is_out(self) -> bool:
        """Whether it has left already."""
        return not self.must_leave


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be ordered: when it could be, by when it must be, and when it is there then.

    What is on order already has no day on which it could or must be ordered; ``there`` is when it comes, ``needed`` by when
    it must.
    """

    step: str
    purchase: str
    ordered: str
    there: str
    order_by: str
    needed: str

    @property
    def is_ordered(self) -> bool:
        """Whether it is on order already."""
        return not self.order_by


@dataclass(frozen=True, slots=True)
class Floor:
    """An instant before which the bike cannot be ready, whatever the order: so much work for the hands, or at a place.

    ``minutes`` are this bike's, ``load`` those of others before it [min].
    """

    bound: Bound
    place: str
    minutes: int
    load: int
    until: str


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan of one restoration, of what is left to do, if every step takes what is expected and none fails.

    ``chain`` are the batches, by their first step, from the start to the ready day, each decided by the one before it.
    ``bound`` says what decides the ready day, with the ``place`` if it is one.
    """

    starts: str
    ready: str
    path_ends: str
    bound: Bound
    place: str
    steps: tuple[PlannedStep, ...]
    chain: tuple[str, ...]
    lots: tuple[Lot, ...]
    orders: tuple[Order, ...]
    floors: tuple[Floor, ...]
    remarks: tuple[Remark, ...]
