"""What a payment pays for, what is late, and what of the money received is still owed as work.

A receipt names no instalment: whatever came in pays what fell due first. Credits (instalments below zero) that are due
count as money received. A credit that is not due yet comes off the last payments, as its paper says.

700 received, seen on 20 March:

| asked    | due      | amount | covered              | late |
| deposit  | 1 March  |    500 | 500                  |      |
| stripped | 15 March |    400 | 200                  |  200 |
| balance  | not yet  |    600 | 100, by the credit   |      |
| credit   | not yet  |   −100 |                      |      |
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quotes.engine.errors import BadInput
from quotes.engine.money import HALF_UP, rounded

NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Asked:
    """An instalment: its ``amount`` [money with tax], below zero for a credit, and the day it falls due once that is known."""

    key: str
    amount: Decimal
    due_on: date | None = None

    def is_due(self, day: date) -> bool:
        """Whether it may be asked for on ``day``."""
        return self.due_on is not None and self.due_on <= day


@dataclass(frozen=True, slots=True)
class Paid:
    """What each instalment is covered by [money with tax], and what is ``over``: nothing asked for is left for it."""

    covered: dict[str, Decimal]
    over: Decimal


def allocated(asked: Sequence[Asked], received: Decimal, day: date) -> Paid:
    """``received`` [money with tax] spread over what is asked, as of ``day``, exactly.

    What is due comes first, the oldest first; then what falls due on a known day; then the rest as given. Credits are
    never covered: they cover. What is over less what is uncovered is what was received less all that is asked.

    >>> day = date(2026, 3, 20)
    >>> paid = allocated([Asked("b", Decimal(400), date(2026, 3, 15)), Asked("a", Decimal(500), date(2026, 3, 1))], Decimal(700), day)
    >>> paid.covered["a"], paid.covered["b"], paid.over
    (Decimal('500'), Decimal('200'), Decimal('0'))
    """
    covered = {item.key: NONE for item in asked if item.amount > 0}
    credit = -sum((item.amount for item in asked if item.amount < 0 and not item.is_due(day)), NONE)
    money = received - sum((item.amount for item in asked if item.amount < 0 and item.is_due(day)), NONE)
    order = in_order(asked, day)
    credit = _cover(covered, [item for item in reversed(order) if not item.is_due(day)], credit)
    return Paid(covered, _cover(covered, order, money) + credit)


def in_order(asked: Sequence[Asked], day: date) -> list[Asked]:
    """Those to be paid, in the order in which money goes to them."""
    wanted = [item for item in asked if item.amount > 0]
    return sorted(wanted, key=lambda item: (not item.is_due(day), item.due_on is None, item.due_on or day))


def _cover(covered: dict[str, Decimal], order: Sequence[Asked], money: Decimal) -> Decimal:
    """Spread ``money`` and give back what is left of it. Money below zero covers nothing."""
    for item in order:
        share = max(min(item.amount - covered[item.key], money), NONE)
        covered[item.key] += share
        money -= share
    return money


def late(asked: Sequence[Asked], paid: Paid, day: date) -> tuple[Decimal, date | None]:
    """What should have come in before ``day`` and has not [money with tax], and the day the oldest of it fell due.

    What is due on the day itself is not late yet.
    """
    open_ones = [
        (item.amount - paid.covered[item.key], item.due_on)
        for item in asked
        if item.amount > 0 and item.due_on is not None and item.due_on < day and paid.covered[item.key] < item.amount
    ]
    return sum((amount for amount, _day in open_ones), NONE), min((on for _amount, on in open_ones), default=None)


def before_tax(amount: Decimal, *, net: Decimal, total: Decimal, digits: int, rule: str = HALF_UP) -> Decimal:
    """The part of ``amount`` [money with tax] that is no tax, as ``net`` is of ``total``; rounded.

    >>> before_tax(Decimal("600.00"), net=Decimal("1000.00"), total=Decimal("1200.00"), digits=2)
    Decimal('500.00')
    """
    return rounded(amount * net / total if total else amount, digits=digits, rule=rule)


def owed_as_work(received: Decimal, delivered: Decimal) -> Decimal:
    """What was received before the work for it was done [money before tax]: a liability, not yet earned; never below 0."""
    _not_negative(delivered, "delivered")
    return max(received - delivered, NONE)


def exposure(*, cost: Decimal, committed: Decimal, received: Decimal) -> Decimal:
    """cost so far + committed − received [money before tax]: above zero, the shop has its own money in the bike."""
    _not_negative(cost, "cost")
    _not_negative(committed, "committed")
    return cost + committed - received


def _not_negative(amount: Decimal, field: str) -> None:
    if amount < 0:
        raise BadInput("An amount of money cannot be negative. Give 0 or more.", field=field)
