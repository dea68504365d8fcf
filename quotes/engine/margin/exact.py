"""Sums that never round.

The terms of a job must add up to its actual cost less its earned value to the last digit. So a product that has to be
rounded (a rate times minutes / 60 has no end) is worked out once, to 28 digits, and is a number like any other from then
on; adding, subtracting and multiplying happen here, where a result that does not fit is an error and never a rounding.
"""

from collections.abc import Callable, Iterable
from decimal import Clamped, Context, Decimal, DivisionByZero, Inexact, InvalidOperation, Overflow, localcontext
from functools import wraps
from typing import ParamSpec, TypeVar

from quotes.engine.money import CONTEXT
from quotes.engine.results import NONE

HOUR = Decimal(60)
P = ParamSpec("P")
R = TypeVar("R")

#: Three factors of 28 digits with room to be added up; raises where that were not enough.
EXACT = Context(prec=160, traps=[Clamped, DivisionByZero, Inexact, InvalidOperation, Overflow])
_add, _subtract = EXACT.add, EXACT.subtract


def exactly(compute: Callable[P, R]) -> Callable[P, R]:
    """Run ``compute`` where sums and products are exact or an error."""

    @wraps(compute)
    def within(*args: P.args, **kwargs: P.kwargs) -> R:
        with localcontext(EXACT):
            return compute(*args, **kwargs)

    return within


def added(amounts: Iterable[Decimal]) -> Decimal:
    """The exact sum of ``amounts``.

    >>> added([Decimal("1e20"), Decimal("1e-20"), Decimal("-1e20")])
    Decimal('1E-20')
    """
    total = NONE
    for amount in amounts:
        total = _add(total, amount)
    return total


def less(amount: Decimal, *off: Decimal) -> Decimal:
    """``amount`` less all that is ``off`` it, exactly. (A minus sign alone rounds to the digits of the caller's context.)

    >>> less(Decimal("1e20"), Decimal("1e-20")) == Decimal("1e20") - Decimal("1e-20")
    False
    """
    for one in off:
        amount = _subtract(amount, one)
    return amount


def by_the_hour(minutes: Decimal, rate: Decimal) -> Decimal:
    """What ``minutes`` [min] come to at ``rate`` [money/h]: multiplied first, so that 100 minutes at 18 are 30 and not nearly.

    >>> by_the_hour(Decimal(100), Decimal("18.00"))
    Decimal('30.00')
    """
    return CONTEXT.divide(CONTEXT.multiply(minutes, rate), HOUR)


def ratio(part: Decimal, whole: Decimal) -> Decimal | None:
    """``part`` / ``whole`` to 28 digits, None where there is no whole.

    >>> ratio(Decimal(200), Decimal(250)), ratio(Decimal(1), Decimal(0))
    (Decimal('0.8'), None)
    """
    return CONTEXT.divide(part, whole) if whole else None
