"""What a price is made from. Plain frozen values; every number is a `Decimal`, every thing has a key.

Units: minutes [min], areas [dm²], weights [kg], film [µm], money in major units of the shop's currency.
``source`` says where a thing's numbers come from and from which date, in words.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

ZERO = Decimal(0)
ONE = Decimal(1)


class Measure(StrEnum):
    """What time, usage or price goes by."""

    BATCH = "batch"
    PIECE = "piece"
    DM2 = "dm2"
    KG = "kg"
    OPENING = "opening"
    SPOKE = "spoke"
    HOUR = "hour"


class By(StrEnum):
    """How a consumable is used."""

    MEASURE = "measure"
    FILM = "film"
    POWDER = "powder"


class Work(StrEnum):
    """What kind of work a step is."""

    OPERATION = "operation"
    SERVICE = "service"
    PURCHASE = "purchase"


class PriceBy(StrEnum):
    """How labour is sold."""

    MARGIN = "margin"
    CHARGE_OUT = "charge_out"


class OverheadBy(StrEnum):
    """What the overhead rate is laid on."""

    HOURS = "hours"
    LABOUR = "labour"


class TaxBy(StrEnum):
    """Where tax is rounded."""

    LINE = "line"
    DOCUMENT = "document"


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
    ``elapsed`` [min] passes without hands. ``plates`` marks a finish that puts hydrogen into steel, ``bakes`` a
    bake that drives it out.
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


@dataclass(frozen=True, slots=True)
class Purchase:
    """A bought-in part: ``unit_price`` [money/piece] (zero when the customer brings it), ``handling`` [min]."""

    key: str
    name: str
    origin: str
    unit_price: Decimal
    handling: Decimal = ZERO
    handling_grade: str = ""
    source: str = ""
    status: str = "seen"


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


@dataclass(frozen=True, slots=True)
class Part:
    """A line of what is on the bike; sizes are per piece.

    ``strength`` [MPa] and ``thickness`` of the largest section [mm] are None when unknown.
    """

    uid: str
    name: str
    pieces: int
    steps: tuple[Step, ...]
    area: Decimal = ZERO
    weight: Decimal = ZERO
    openings: int = 0
    spokes: int = 0
    material: str = ""
    strength: Decimal | None = None
    thickness: Decimal | None = None
    tax: str = "standard"
    source: str = ""


@dataclass(frozen=True, slots=True)
class PaymentStage:
    """``percent`` of the total, due at ``due`` (an event in words)."""

    name: str
    percent: Decimal
    due: str


@dataclass(frozen=True, slots=True)
class Policy:
    """How this shop prices: margins are fractions of the price, by cost class."""

    currency: str
    price_by: PriceBy
    labour_margin: Decimal
    overhead_margin: Decimal
    material_margin: Decimal
    vendor_margin: Decimal
    bought_in_margin: Decimal
    floor: Decimal
    overhead_by: OverheadBy
    overhead_rate: Decimal
    handling_rate: Decimal
    mixed_share: Decimal = ZERO
    tax_by: TaxBy = TaxBy.DOCUMENT
    rounding: str = "half_up"
    stages: tuple[PaymentStage, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True)
class TaxRate:
    """A tax code with its ``rate`` [fraction]."""

    code: str
    name: str
    rate: Decimal
    source: str = ""


@dataclass(frozen=True, slots=True)
class Restoration:
    """Everything a quote is computed from; freezing this freezes the quote."""

    title: str
    priced_on: str
    policy: Policy
    taxes: tuple[TaxRate, ...]
    grades: tuple[Grade, ...]
    consumables: tuple[Consumable, ...]
    operations: tuple[Operation, ...]
    services: tuple[Service, ...]
    purchases: tuple[Purchase, ...]
    parts: tuple[Part, ...]
    discount: Decimal = ZERO
