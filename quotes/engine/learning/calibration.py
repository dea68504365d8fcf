"""Whether fixed prices held as often as they should: the share of accepted quotes whose cost stayed within them.

Only accepted quotes can be looked at, and who accepts is no accident: an offer that is too low is taken more often than one
that is too high, so those that were taken cost more than they say on average (the winner's curse). A share below the one
wanted can be that, and not a contingency that is too small.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from quotes.engine.chance.lead_times import Share, share

#: Of fewer nobody can say.
ENOUGH = 30


@dataclass(frozen=True, slots=True)
class Held:
    """One accepted quote that is finished: what its fixed lines cost against what was expected and set aside [minor units]."""

    expected: int
    contingency: int
    actual: int

    @property
    def within(self) -> bool:
        return self.actual <= self.expected + self.contingency


@dataclass(frozen=True, slots=True)
class Calibration:
    """How often ``wanted`` was kept. ``over`` is what they cost beyond what was expected, together [fraction]; None of none."""

    kept: Share
    wanted: float
    over: float | None

    @property
    def too_few(self) -> bool:
        return self.kept.count < ENOUGH

    @property
    def says(self) -> str:
        """``few``, ``as wanted``, ``seldom`` or ``often``: how the interval lies to what is wanted."""
        if self.too_few:
            return "few"
        if self.kept.high < self.wanted:
            return "seldom"
        return "often" if self.kept.low > self.wanted else "as wanted"


def calibration(quotes: Sequence[Held], *, wanted: float, level: float = 0.9) -> Calibration:
    """The share that held, with its Wilson interval.

    >>> found = calibration([Held(100, 20, 110)] * 25 + [Held(100, 20, 130)] * 7, wanted=0.8)
    >>> found.kept.hits, found.kept.count, found.says
    (25, 32, 'as wanted')
    """
    expected = sum(quote.expected for quote in quotes)
    over = sum(quote.actual for quote in quotes) / expected - 1 if expected else None
    return Calibration(share(sum(quote.within for quote in quotes), len(quotes), level=level), wanted, over)
