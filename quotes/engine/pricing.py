"""From cost to price: cost classes, floor, discount, tax, instalments."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from quotes.engine.errors import BadInput
from quotes.engine.formulas import variant
from quotes.engine.inputs import TaxBy, TaxRate
from quotes.engine.money import rounded, shared_out


def margin(price: Decimal, cost: Decimal) -> Decimal:
    """(price − cost) / price, as a fraction.

    >>> margin(Decimal(125), Decimal(100))
    Decimal('0.2')
    """
    return (price - cost) / price


def markup(price: Decimal, cost: Decimal) -> Decimal:
    """(price − cost) / cost, as a fraction.

    >>> markup(Decimal(125), Decimal(100))
    Decimal('0.25')
    """
    return (price - cost) / cost


def margin_of_markup(share: Decimal) -> Decimal:
    """The margin that a markup ``share`` gives: k / (1 + k)."""
    return share / (1 + share)


def markup_of_margin(share: Decimal) -> Decimal:
    """The markup that a margin ``share`` needs: m / (1 − m)."""
    return share / (1 - share)


def checked_margin(share: Decimal, *, field: str) -> Decimal:
    """``share`` if a price can be made with it (below 1), else `BadInput`."""
    if share >= 1:
        raise BadInput("A margin of {share} % leaves no price. Give less than 100 %.", field=field, share=share * 100)
    return share


def overhead_rate(indirect_cost: Decimal, base: Decimal) -> Decimal:
    """Predetermined overhead rate: budgeted indirect cost per unit of its base (direct labour hour, or labour money)."""
    if base <= 0:
        raise BadInput("The overhead base must be more than 0.", field="overhead base")
    return indirect_cost / base


@variant("price_1", "cost / (1 − margin)")
def price_of_cost(cost: Decimal, share: Decimal) -> Decimal:
    """Price [money] of a cost class at a margin ``share`` of the price.

    >>> price_of_cost(Decimal(60), Decimal("0.40"))
    Decimal('1E+2')
    """
    return cost / (1 - share)


@variant("floor_1", "expected cost with its rework allowance / (1 − floor)")
def floor_price(expected: Decimal, floor: Decimal) -> Decimal:
    """The least net price after discount [money] that keeps the ``floor`` margin over ``expected`` cost."""
    return expected / (1 - floor)


@variant("discount_1", "sum of the lines × discount, rounded once and shared over the lines pro rata")
def discounts(
    amounts: Sequence[Decimal], keys: Sequence[str], share: Decimal, *, digits: int, rule: str
) -> list[Decimal]:
    """The discount on each line [money]; together they are the rounded discount on the sum."""
    whole = rounded(sum(amounts, Decimal(0)) * share, digits=digits, rule=rule)
    return shared_out(whole, amounts, keys, digits=digits)


@variant("tax_1", "net × rate, rounded per line or per rate of the document")
def taxes(
    nets: Sequence[tuple[str, Decimal]], rates: Mapping[str, TaxRate], *, by: TaxBy, digits: int, rule: str
) -> dict[str, tuple[Decimal, Decimal]]:
    """Tax code to (net, tax) [money] for ``nets`` of (code, net after discount).

    By line, each line is rounded; by document, the sum of each rate is rounded once.
    """
    result: dict[str, tuple[Decimal, Decimal]] = {}
    for code, net in nets:
        sum_net, sum_tax = result.get(code, (Decimal(0), Decimal(0)))
        tax = rounded(net * rates[code].rate, digits=digits, rule=rule) if by is TaxBy.LINE else Decimal(0)
        result[code] = (sum_net + net, sum_tax + tax)
    if by is TaxBy.LINE:
        return result
    return {code: (net, rounded(net * rates[code].rate, digits=digits, rule=rule)) for code, (net, _) in result.items()}
