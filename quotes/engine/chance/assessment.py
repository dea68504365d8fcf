"""What a contingency rests on, as it leaves the room for chances: decimals, and one question that can be asked."""

from dataclasses import dataclass, field
from decimal import ROUND_CEILING, Decimal
from typing import NamedTuple

import numpy as np

from quotes.engine.chance.quantiles import Array

#: Draws are kept to a millionth of the currency's major unit: less is what is left of sums of floats.
DIGITS = 6


class Cause(NamedTuple):
    """One reason why the cost may come out differently, and its share of the variance [fraction]."""

    key: str
    words: str
    share: Decimal


#: Causes in words, for a sentence such as "most of the spread comes from …".
WORDS = {
    "pace": "how the whole bike goes",
    "work": "how single steps go, and work done again",
    "damage": "possible damage",
    "prices": "prices that are not certain",
    "finish": "a wrong finish",
}


@dataclass(frozen=True, slots=True)
class Assessment:
    """What the fixed lines may cost, and what is added so that their price holds ``kept`` of the time.

    ``mean`` is exact; ``quantile`` is the cost that is not exceeded with chance ``kept``; ``deviation`` the standard
    deviation [money]. ``shares`` are (uid of the part, its share of the ``contingency``) of every fixed line, by uid,
    and add up to it. ``curve`` is (cost, chance that it costs at most that), rising. ``causes`` add up to 1, the
    largest first; there are none where nothing is uncertain.
    """

    mean: Decimal
    quantile: Decimal
    contingency: Decimal
    kept: Decimal
    deviation: Decimal
    shares: tuple[tuple[str, Decimal], ...]
    curve: tuple[tuple[Decimal, Decimal], ...]
    causes: tuple[Cause, ...]
    totals: Array = field(repr=False, compare=False)

    def chance_of_loss(self, price: Decimal) -> Decimal:
        """The chance that the fixed lines cost more than their net ``price`` [money]."""
        return 1 - at_most(self.totals, price)


def at_most(totals: Array, cost: Decimal) -> Decimal:
    """The share of sorted ``totals`` that are no more than ``cost``."""
    within = int(np.searchsorted(totals, round(float(cost), DIGITS), side="right"))
    return Decimal(within) / Decimal(len(totals))


def not_exceeded(totals: Array, kept: Decimal) -> Decimal:
    """The least of sorted ``totals`` that at least ``kept`` of them do not exceed: number ⌈kept × N⌉ [money]."""
    turn = int((kept * len(totals)).to_integral_value(ROUND_CEILING))
    return money(float(totals[turn - 1]))


def money(amount: float) -> Decimal:
    """A float as money, to `DIGITS` places."""
    return Decimal(f"{amount:.{DIGITS}f}")
