"""What comes out of a price. `Result` is frozen with an issued quote; `Explained` is worked out anew when asked."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from quotes.engine.figures import Figure

NONE = Decimal(0)
# See `quotes.engine.figures`: thousands of visits are added up for a quote.
_new = tuple.__new__


class Visit(NamedTuple):
    """What one visit of a step takes: attended minutes, cost by class [money], labour at charge-out rates [money]."""

    minutes: Decimal = NONE
    labour: Decimal = NONE
    overhead: Decimal = NONE
    material: Decimal = NONE
    vendor: Decimal = NONE
    bought_in: Decimal = NONE
    sold: Decimal = NONE

    def plus(self, other: "Visit") -> "Visit":
        """Both together."""
        a0, a1, a2, a3, a4, a5, a6 = self
        b0, b1, b2, b3, b4, b5, b6 = other
        return _new(Visit, (a0 + b0, a1 + b1, a2 + b2, a3 + b3, a4 + b4, a5 + b5, a6 + b6))

    def times(self, factor: Decimal) -> "Visit":
        """This, ``factor`` times."""
        a0, a1, a2, a3, a4, a5, a6 = self
        return _new(Visit, (a0 * factor, a1 * factor, a2 * factor, a3 * factor, a4 * factor, a5 * factor, a6 * factor))

    @property
    def cost(self) -> Decimal:
        """All cost classes together [money]."""
        _, labour, overhead, material, vendor, bought_in, _ = self
        return labour + overhead + material + vendor + bought_in


#: What a step costs again that is never done again.
NOTHING = Visit()


def together(visits: Iterable[Visit]) -> Visit:
    """All ``visits`` added up, in the order given."""
    columns = tuple([sum(column, NONE) for column in zip(*visits, strict=True)])
    return _new(Visit, columns) if columns else NOTHING


class StepResult(NamedTuple):
    """One step: its first pass, doing it again alone, its rework allowance, and how often it is redone.

    ``remedies`` is what each of its ways back costs before the part goes round again, in the order of the ways.
    """

    uid: str
    part: str
    first: Visit
    redo: Visit
    allowance: Visit
    redone: Decimal
    figure: Figure
    remedies: tuple[Visit, ...] = ()


class Branch(NamedTuple):
    """Something that happens once with ``chance`` or not at all, and then costs from ``low`` to ``high``, mostly ``likely`` [money]."""

    uid: str
    part: str
    name: str
    chance: Decimal
    low: Decimal
    likely: Decimal
    high: Decimal


class Unseen(NamedTuple):
    """What nobody can see yet on one part: expected cost of possible damage and of a wrong finish, and the events behind."""

    damage: Visit = NOTHING
    finish: Visit = NOTHING
    damages: Figure | None = None
    finishes: Figure | None = None
    branches: tuple[Branch, ...] = ()
    belief: dict[str, Decimal] = {}
    losses: dict[tuple[str, str], Decimal] = {}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the quote: a part, or a credit. Amounts are rounded, costs are not.

    ``allowance`` for rework, ``damage`` for what strip-down may reveal, ``finish`` for a wrong finish and ``comebacks``
    for what comes back after hand-over are expected cost and stand in the cost classes already; ``contingency`` is
    beside them. ``cap`` is the most that a capped or hourly line comes to without asking.
    """

    uid: str
    part: str
    price: Decimal
    discount: Decimal
    net: Decimal
    tax: str
    minutes: Decimal
    labour: Decimal
    overhead: Decimal
    material: Decimal
    vendor: Decimal
    bought_in: Decimal
    allowance: Decimal
    damage: Decimal = NONE
    finish: Decimal = NONE
    contingency: Decimal = NONE
    basis: str = "fixed"
    cap: Decimal | None = None
    comebacks: Decimal = NONE

    @property
    def cost(self) -> Decimal:
        """Expected cost with all its allowances, without contingency [money]."""
        return self.labour + self.overhead + self.material + self.vendor + self.bought_in


@dataclass(frozen=True, slots=True)
class TaxLine:
    """The tax of one code."""

    code: str
    name: str
    rate: Decimal
    net: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class Instalment:
    """One payment stage with its amount, due ``days`` after ``event``."""

    name: str
    due: str
    amount: Decimal
    event: str = ""
    days: int = 0


@dataclass(frozen=True, slots=True)
class Provisional:
    """A possible damage that is not in the price: what it costs the customer if it is found."""

    uid: str
    part: str
    name: str
    price: Decimal


@dataclass(frozen=True, slots=True)
class Excluded:
    """A possible damage that is no part of the offer."""

    uid: str
    part: str
    name: str


#: The basis of a line that takes off what was paid before.
CREDIT = "credit"


@dataclass(frozen=True, slots=True)
class Remark:
    """Something a person must know. A ``blocking`` one must be settled before the quote can be issued.

    ``text`` is a sentence with named places, ``values`` pairs that fill them.
    """

    blocking: bool
    part: str
    step: str
    text: str
    values: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Result:
    """The figures of a quote: lines add up to ``price``; price − discount = net; net + tax = total."""

    lines: tuple[Line, ...]
    price: Decimal
    discount: Decimal
    net: Decimal
    taxes: tuple[TaxLine, ...]
    tax: Decimal
    total: Decimal
    instalments: tuple[Instalment, ...]
    minutes: Decimal
    cost: Decimal
    allowance: Decimal
    floor_price: Decimal
    damage: Decimal = NONE
    finish: Decimal = NONE
    contingency: Decimal = NONE
    provisional: tuple[Provisional, ...] = ()
    excluded: tuple[Excluded, ...] = ()
    comebacks: Decimal = NONE

    def __post_init__(self) -> None:
        """Refuse figures that do not add up."""
        if sum((line.price for line in self.lines), NONE) != self.price:
            raise AssertionError("lines do not add up to the price")
        if sum((line.net for line in self.lines), NONE) != self.net or self.price - self.discount != self.net:
            raise AssertionError("lines do not add up to the net")
        if sum((t.tax for t in self.taxes), NONE) != self.tax or self.net + self.tax != self.total:
            raise AssertionError("net and tax do not add up to the total")
        if self.instalments and sum((i.amount for i in self.instalments), NONE) != self.total:
            raise AssertionError("instalments do not add up to the total")

    @property
    def credited(self) -> Decimal:
        """What credits take off the net [money]: it was paid before, so it still pays for the work."""
        return -sum((line.price for line in self.lines if line.basis == CREDIT), NONE)

    @property
    def below_floor(self) -> bool:
        """Whether the net after discount is under the floor."""
        return self.net + self.credited < self.floor_price

    @property
    def margin(self) -> Decimal | None:
        """(net − cost) / net, None for a price of nothing."""
        worth = self.net + self.credited
        return (worth - self.cost) / worth if worth else None


@dataclass(frozen=True, slots=True)
class Explained:
    """A result with all that explains it.

    ``unseen`` is, by part, what nobody can see on it yet.
    """

    result: Result
    steps: tuple[StepResult, ...]
    batches: tuple[tuple[str, ...], ...]
    figures: dict[str, Figure]
    remarks: tuple[Remark, ...]
    unseen: dict[str, Unseen] = field(default_factory=dict)

    @property
    def beliefs(self) -> dict[str, dict[str, Decimal]]:
        """By part, how likely each finish was the right one."""
        return {uid: item.belief for uid, item in self.unseen.items() if item.belief}

    @property
    def losses(self) -> dict[str, dict[tuple[str, str], Decimal]]:
        """By part, what it costs to put on one finish when another was right [money]."""
        return {uid: item.losses for uid, item in self.unseen.items() if item.losses}

    @property
    def branches(self) -> tuple[Branch, ...]:
        """The events that happen once or not at all, part by part."""
        return tuple(branch for item in self.unseen.values() for branch in item.branches)
