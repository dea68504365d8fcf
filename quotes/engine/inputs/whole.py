"""Parts, how the shop prices, and all of it together."""

from dataclasses import dataclass
from decimal import Decimal

from quotes.engine.inputs.days import Schedule
from quotes.engine.inputs.kinds import ZERO, Basis, OverheadBy, PriceBy, TaxBy
from quotes.engine.inputs.unknowns import Damage, FinishQuestion
from quotes.engine.inputs.work import Consumable, Grade, Operation, Purchase, Service, Step


@dataclass(frozen=True, slots=True)
class Part:
    """A line of what is on the bike; sizes are per piece.

    ``strength`` [MPa] and ``thickness`` of the largest section [mm] are None when unknown. ``cap`` [money] is the most
    a capped or hourly line may come to without asking, None for what the policy adds. ``contingency`` [money, a cost]
    is its frozen share of the restoration's. ``question`` is None when nothing hangs on which finish it had.
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
    basis: Basis = Basis.FIXED
    cap: Decimal | None = None
    damages: tuple[Damage, ...] = ()
    question: FinishQuestion | None = None
    contingency: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class PaymentStage:
    """``percent`` of the total, due at ``due`` (an event in words), ``days`` after ``event`` (its name in the rate book)."""

    name: str
    percent: Decimal
    due: str
    event: str = ""
    days: int = 0


@dataclass(frozen=True, slots=True)
class Policy:
    """How this shop prices: margins are fractions of the price, by cost class.

    Fixed prices and ready days hold ``kept`` of the time. ``pace_spread`` is how far one bike's hours stray from what is
    usual, all together (CV); ``status_spreads`` how far a price strays that is seen, phoned or guessed (status, CV).
    ``comebacks`` is kept for what comes back after hand-over [fraction of expected cost].
    """

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
    contingency_margin: Decimal = ZERO
    kept: Decimal = Decimal("0.8")
    pace_spread: Decimal = Decimal("0.15")
    status_spreads: tuple[tuple[str, Decimal], ...] = (
        ("seen", Decimal("0.02")),
        ("phoned", Decimal("0.08")),
        ("guessed", Decimal("0.25")),
    )
    cap_share: Decimal = Decimal("0.15")
    comebacks: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class TaxRate:
    """A tax code with its ``rate`` [fraction]."""

    code: str
    name: str
    rate: Decimal
    source: str = ""


@dataclass(frozen=True, slots=True)
class Credit:
    """What comes off after the discount: ``amount`` [money before tax] under the tax code ``tax``, and why."""

    uid: str
    name: str
    amount: Decimal
    tax: str = "standard"


@dataclass(frozen=True, slots=True)
class Restoration:
    """Everything a quote is computed from; freezing this freezes the quote.

    With a ``fee`` [money before tax] the lines come to exactly that, whatever they cost.
    """

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
    schedule: Schedule | None = None
    fee: Decimal | None = None
    credits: tuple[Credit, ...] = ()
