"""What strip-down may reveal, as an expected cost and as an event that happens once or not at all."""

from decimal import Decimal

from quotes.engine.book import Book
from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, computed, given
from quotes.engine.formulas import variant
from quotes.engine.inputs import CostClass, Damage, Part, PriceBy, Treatment
from quotes.engine.results import Branch, Visit

SIX = Decimal(6)
FOUR = Decimal(4)


def checked(damage: Damage, *, part: str = "") -> Damage:
    """``damage`` if its chance is one and its costs are in order, else `BadInput`."""
    if not 0 < damage.chance < 1:
        raise BadInput(
            "“{name}” is found with a chance of {chance}. Give more than 0 and less than 1.",
            part=part,
            field="chance",
            name=damage.name,
            chance=damage.chance,
        )
    if not 0 <= damage.low <= damage.likely <= damage.high:
        raise BadInput(
            "“{name}” costs {low}, {likely}, {high}: give 0 or more, in order: at least, most likely, at most.",
            part=part,
            field="likely",
            name=damage.name,
            low=damage.low,
            likely=damage.likely,
            high=damage.high,
        )
    return damage


@variant("damage_1", "chance × (at least + 4 × most likely + at most) / 6")
def expected(*, chance: Decimal, low: Decimal, likely: Decimal, high: Decimal) -> Decimal:
    """Expected cost [money] of a damage: its chance times the mean of its three points (beta-PERT).

    >>> expected(chance=Decimal("0.5"), low=Decimal(30), likely=Decimal(50), high=Decimal(100))
    Decimal('27.5')
    """
    return chance * (low + FOUR * likely + high) / SIX


def priced(book: Book, damage: Damage, cost: Decimal) -> Decimal:
    """What ``cost`` [money] of a damage sells at, by the margin of what it is mostly made of."""
    price: Decimal = book.formulas["price"](cost, getattr(book.policy, f"{damage.cost_class.value}_margin"))
    return price


def visit(book: Book, damage: Damage, cost: Decimal) -> Visit:
    """``cost`` [money] in the class the damage is mostly made of."""
    if damage.cost_class is CostClass.VENDOR:
        return Visit(vendor=cost)
    if damage.cost_class is CostClass.BOUGHT_IN:
        return Visit(bought_in=cost)
    sold = priced(book, damage, cost) if book.policy.price_by is PriceBy.CHARGE_OUT else Decimal(0)
    return Visit(labour=cost, sold=sold)


def figure(book: Book, damage: Damage) -> Figure:
    """The expected cost of a damage with what it came from."""
    currency, source = book.policy.currency, damage.source or damage.name
    named = {"chance": damage.chance, "low": damage.low, "likely": damage.likely, "high": damage.high}
    inputs = (
        given("chance", damage.chance, "", source),
        given("at least", damage.low, currency, source),
        given("most likely", damage.likely, currency, source),
        given("at most", damage.high, currency, source),
    )
    return computed(damage.name, book.formulas["damage"](**named), currency, book.variants["damage"], inputs)


def branch(part: Part, damage: Damage) -> Branch:
    """The damage as an event."""
    return Branch(damage.uid, part.uid, damage.name, damage.chance, damage.low, damage.likely, damage.high)


def ours(part: Part) -> tuple[Damage, ...]:
    """The damages of a part that are in its price: those that are ours, on a part that is there."""
    return tuple(item for item in part.damages if item.treatment is Treatment.OURS) if part.pieces else ()
