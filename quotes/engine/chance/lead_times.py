"""How vendors keep time, from few jobs: a share with its interval, and lead times with those still out counted as such.

What is still out says that its lead time is at least so long. Leaving it out would flatter whoever is late.

Sources: E. B. Wilson, Journal of the American Statistical Association 22 (1927), 209-212, the score interval of a
proportion; E. L. Kaplan and P. Meier, Journal of the American Statistical Association 53 (1958), 457-481, the
product-limit estimate. Both from memory, and tested against scipy and published figures.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist


@dataclass(frozen=True, slots=True)
class Share:
    """``hits`` of ``count``, and between which shares the true one lies at the ``level`` asked for [fractions]."""

    hits: int
    count: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """The share itself; 0 of none."""
        return self.hits / self.count if self.count else 0.0


def share(hits: int, count: int, *, level: float = 0.9) -> Share:
    """A share with its Wilson interval. Of nothing, nothing is known: 0 to 1.

    Raises `ValueError` for counts that cannot be, or a level outside 0 to 1.

    >>> found = share(3, 10, level=0.95)
    >>> round(found.low, 7), round(found.high, 7)
    (0.1077913, 0.6032219)
    """
    if not 0 <= hits <= count:
        raise ValueError(f"{hits} of {count} is no share")
    if not 0 < level < 1:
        raise ValueError(f"a level of {level} is no probability")
    if not count:
        return Share(0, 0, 0.0, 1.0)
    z = NormalDist().inv_cdf((1 + level) / 2)
    centre = hits + z * z / 2
    about = z * sqrt(hits * (count - hits) / count + z * z / 4)
    whole = count + z * z
    low = 0.0 if hits == 0 else (centre - about) / whole
    high = 1.0 if hits == count else (centre + about) / whole
    return Share(hits, count, low, high)


@dataclass(frozen=True, slots=True)
class Lead:
    """One job: ``days`` it took, or has taken so far where it is still ``out``."""

    days: int
    out: bool = False


def still_out(leads: Sequence[Lead]) -> list[tuple[int, float]]:
    """The product-limit estimate: days at which jobs came back, and the share of jobs still out after each.

    A job that is out at a day counts as being there when others come back on that day.

    >>> still_out([Lead(5), Lead(8, out=True), Lead(10)])
    [(5, 0.6666666666666667), (10, 0.0)]
    """
    ordered = sorted(leads, key=lambda lead: (lead.days, lead.out))
    remaining, found = 1.0, []
    for day in sorted({lead.days for lead in ordered if not lead.out}):
        at_risk = sum(lead.days >= day for lead in ordered)
        came = sum(lead.days == day and not lead.out for lead in ordered)
        remaining *= 1 - came / at_risk
        found.append((day, remaining))
    return found


def within(leads: Sequence[Lead], part: float) -> int | None:
    """In how many days ``part`` of all jobs are back [fraction]; None where too many are still out to say.

    >>> within([Lead(5), Lead(8), Lead(10), Lead(12), Lead(20)], 0.8)
    12
    >>> within([Lead(5), Lead(30, out=True), Lead(31, out=True)], 0.8) is None
    True
    """
    if not 0 < part < 1:
        raise ValueError(f"{part} of all jobs is no share")
    # So that four of five, worked out in steps, is not taken for a little less.
    return next((day for day, remaining in still_out(leads) if remaining <= 1 - part + 1e-12), None)
