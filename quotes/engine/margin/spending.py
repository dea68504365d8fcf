"""What went into a step: its first pass and what was done again, by cost class.

Money is what was posted, so it is whole minor units; minutes are clocked minutes. A vendor's charge counts when the work is
received, at the agreed price until the charge is known.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from quotes.engine.margin.exact import added, less
from quotes.engine.money import CONTEXT
from quotes.engine.results import NONE


class Used(NamedTuple):
    """A consumable that went in: ``amount`` [unit] (AQ) for ``cost`` [money] (AP·AQ).

    ``price`` [money/unit] is its standard price where the quote of the step has none, None where nobody knows one.
    """

    key: str
    amount: Decimal
    cost: Decimal
    price: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Outlay:
    """What was spent: attended ``minutes`` [min]; labour, applied overhead, vendors' ``charge``, trips and handling rate as
    ``handling``, bought-in parts [money]; consumables ``used``."""

    minutes: Decimal = NONE
    labour: Decimal = NONE
    overhead: Decimal = NONE
    used: tuple[Used, ...] = ()
    charge: Decimal = NONE
    handling: Decimal = NONE
    bought_in: Decimal = NONE

    @property
    def material(self) -> Decimal:
        """All consumables together [money]."""
        return added(item.cost for item in self.used)

    @property
    def vendor(self) -> Decimal:
        """Charge and handling [money]."""
        return added((self.charge, self.handling))

    @property
    def cost(self) -> Decimal:
        """All cost classes together [money]."""
        return added((self.labour, self.overhead, self.material, self.charge, self.handling, self.bought_in))

    def plus(self, other: "Outlay") -> "Outlay":
        """Both together.

        >>> one = Outlay(minutes=Decimal(30), labour=Decimal("21.00"))
        >>> one.plus(Outlay(labour=Decimal("0.50"))).cost
        Decimal('21.50')
        """
        return Outlay(
            added((self.minutes, other.minutes)),
            added((self.labour, other.labour)),
            added((self.overhead, other.overhead)),
            (*self.used, *other.used),
            added((self.charge, other.charge)),
            added((self.handling, other.handling)),
            added((self.bought_in, other.bought_in)),
        )


#: Nothing was spent.
NOT_ANY = Outlay()


@dataclass(frozen=True, slots=True)
class Spent:
    """What went into the step (or reserve) ``uid`` so far: ``first`` pass and what was done ``again``.

    ``done`` is whether it was ever done: what is earned is never taken back, also where it is done again later.
    ``batched`` [min] are the standard minutes of the first pass in the batch in which it was really done, None for as quoted.
    ``at_lots`` [money] is what the quoted rule gives for its share of the lots in which it really went, None for as quoted.
    """

    uid: str
    first: Outlay = NOT_ANY
    again: Outlay = NOT_ANY
    done: bool = False
    batched: Decimal | None = None
    at_lots: Decimal | None = None

    @property
    def cost(self) -> Decimal:
        """First pass and again, all classes [money]."""
        return added((self.first.cost, self.again.cost))

    @property
    def minutes(self) -> Decimal:
        """First pass and again [min]."""
        return added((self.first.minutes, self.again.minutes))

    def of_class(self, name: str) -> Decimal:
        """First pass and again of one cost class [money]."""
        return added((getattr(self.first, name), getattr(self.again, name)))

    def at(self, *, done: bool) -> "Spent":
        """The same, done or not."""
        return replace(self, done=done)


def all_of(spent: Iterable[Spent]) -> Decimal:
    """Actual cost (AC) of all that was spent [money]."""
    return added(item.cost for item in spent)


def told_apart(vendor: Decimal, *, trip: Decimal, rate: Decimal) -> tuple[Decimal, Decimal]:
    """Charge and handling [money] of what was posted for vendor work as one amount: charge + ``trip`` + charge × ``rate``.

    Both add up to it exactly.

    >>> charge, handling = told_apart(Decimal("39.00"), trip=Decimal(6), rate=Decimal("0.1"))
    >>> str(charge), str(handling)
    ('30.0', '9.00')
    """
    charge = CONTEXT.divide(CONTEXT.subtract(vendor, trip), CONTEXT.add(Decimal(1), rate))
    return charge, less(vendor, charge)
