"""What is done, by whom, with what, and at which price."""

from dataclasses import dataclass
from decimal import Decimal

from quotes.engine.inputs.kinds import ONE, ZERO, By, Measure, Work


@dataclass(frozen=True, slots=True)
class Grade:
    """A labour grade: cost and charge-out rate [money/h], pace against standard (above 1 is slower)."""

    key: str
    name: str
    cost_rate: Decimal
    charge_rate: Decimal
    pace: Decimal = ONE
    source: str = ""


@dataclass(frozen=True, slots=True)
class Consumable:
    """Bought in packs. ``pack_size`` in ``unit``; ``smallest_mix`` in ``unit``; ``solids`` [% by volume]; ``density`` [g/cm³]."""

    key: str
    name: str
    unit: str
    by: By
    pack_size: Decimal
    pack_price: Decimal
    smallest_mix: Decimal = ZERO
    whole_packs: bool = False
    solids: Decimal = ZERO
    density: Decimal = ZERO
    source: str = ""
    status: str = "seen"


@dataclass(frozen=True, slots=True)
class Usage:
    """One consumable in one operation.

    By measure: ``amount`` [unit/measure] and ``waste`` [fraction added]. By film or powder: ``film`` [µm, all
    coats together] and ``transfer`` efficiency [fraction].
    """

    consumable: str
    amount: Decimal = ZERO
    waste: Decimal = ZERO
    film: Decimal = ZERO
    transfer: Decimal = ONE


@dataclass(frozen=True, slots=True)
class Operation:
    """A labour operation: basic or standard minutes, attended.

    ``setup`` [min/batch], ``run`` [min/measure]; ``allowance`` [fraction] turns basic into standard time.
    ``capacity`` [``capacity_by``] of the place decides how many set-ups a batch needs; zero is no limit.
    ``elapsed`` [min] passes without hands, the ``place`` stays taken meanwhile when it ``occupies`` it. What follows
    begins at most ``latest_wait`` [min] afterwards, where there is such a limit. ``plates`` marks a finish that puts
    hydrogen into steel, ``bakes`` a bake that drives it out.
    """

    key: str
    name: str
    grade: str
    setup: Decimal
    run: Decimal
    measure: Measure
    allowance: Decimal = ZERO
    shop_factor: Decimal = ONE
    spread: Decimal = Decimal("0.35")
    capacity: Decimal = ZERO
    capacity_by: Measure = Measure.PIECE
    shares_setup: bool = True
    elapsed: Decimal = ZERO
    usages: tuple[Usage, ...] = ()
    plates: bool = False
    bakes: bool = False
    source: str = ""
    place: str = ""
    occupies: bool = False
    latest_wait: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Break:
    """A price break: from ``quantity`` [measure] on, each measure costs ``rate`` [money/measure]."""

    quantity: Decimal
    rate: Decimal


@dataclass(frozen=True, slots=True)
class Service:
    """A vendor's service: how one lot is charged.

    ``lot_charge`` [money/lot], ``breaks`` by ``measure``, at least ``minimum`` [money/lot, lot charge included].
    ``trip`` [money] times ``trip_share`` [fraction] of a trip per lot; ``handling`` [min/lot] of ``handling_grade``.
    A lot is away ``lead_days`` [working days of its ``calendar``], give or take ``late_spread`` (CV), and
    ``transport_days`` [days of the shop's calendar] each way.
    """

    key: str
    name: str
    vendor: str
    measure: Measure
    breaks: tuple[Break, ...]
    lot_charge: Decimal = ZERO
    minimum: Decimal = ZERO
    trip: Decimal = ZERO
    trip_share: Decimal = ONE
    handling: Decimal = ZERO
    handling_grade: str = ""
    plates: bool = False
    bake_hours: Decimal = ZERO
    source: str = ""
    status: str = "seen"
    lead_days: int = 0
    late_spread: Decimal = Decimal("0.35")
    transport_days: int = 0
    calendar: str = ""


@dataclass(frozen=True, slots=True)
class Purchase:
    """A bought-in part: ``unit_price`` [money/piece] (zero when the customer brings it), ``handling`` [min].

    It comes ``lead_days`` [days of the shop's calendar] after it is ordered, give or take ``late_spread`` (CV).
    """

    key: str
    name: str
    origin: str
    unit_price: Decimal
    handling: Decimal = ZERO
    handling_grade: str = ""
    source: str = ""
    status: str = "seen"
    lead_days: int = 0
    late_spread: Decimal = Decimal("0.35")


@dataclass(frozen=True, slots=True)
class Remedy:
    """Work that a failed step needs before the part can go round again, e.g. stripping a wrong coat."""

    work: Work
    ref: str


@dataclass(frozen=True, slots=True)
class WayBack:
    """How a step can fail: with ``chance`` a visit of it sends the part back to step ``to`` through ``remedies``.

    ``replacement`` [money] is paid when the part is scrapped and a new one has to be found.
    """

    chance: Decimal
    to: str
    remedies: tuple[Remedy, ...] = ()
    replacement: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a route. ``ref`` is the key of its operation, service or purchase in the catalogue.

    ``quantity`` [measure of the work] stands over what the part's size says. ``process`` names the finish, so that
    black and silver do not share a batch.
    """

    uid: str
    name: str
    work: Work
    ref: str
    factor: Decimal = ONE
    quantity: Decimal | None = None
    process: str = ""
    ways_back: tuple[WayBack, ...] = ()
    waits_for: tuple[str, ...] = ()
    source: str = ""
