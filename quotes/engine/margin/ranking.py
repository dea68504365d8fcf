"""Which jobs to look at first, how margins lie, and what poor quality costs.

**What can still be saved.** What is spent is spent. So a job is worth looking at for the part of its overrun that lies in
money not spent yet: for each step not done, how far it is expected to close above its budget, at most what is still to come
on it; and what was found beyond the offer and is not agreed with the customer yet, at its price. Work that goes as budgeted
cannot be saved on by looking at it, and neither can a loss that is paid for.

| job  | leaves | quoted | overrun paid for | overrun to come | not agreed | can be saved |
| B-12 |   −900 |    600 |            1,500 |               0 |          0 |            0 |
| B-15 |  1,100 |  1,500 |                0 |             400 |        250 |          650 |

B-15 comes first, though it is B-12 that loses money.

**Poor quality.** What doing things again, damage and comebacks cost, as plain sums: by the cause given on the floor, and by
where it came from. Nothing is estimated, nothing shared out.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple, TypeVar

from quotes.engine.errors import BadInput
from quotes.engine.margin.exact import added, less, ratio
from quotes.engine.margin.forecast import Forecast, Leaves
from quotes.engine.margin.spending import Spent
from quotes.engine.results import NONE

K = TypeVar("K")


class Saving(NamedTuple):
    """What can still be saved on one step [money]."""

    uid: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Standing:
    """A job in the ranking: what it will leave, what can still be saved [money], and on which steps, most first."""

    job: str
    leaves: Decimal
    savable: Decimal
    steps: tuple[Saving, ...] = ()
    not_agreed: Decimal = NONE


def savings(forecast: Forecast, spent: Iterable[Spent]) -> tuple[Saving, ...]:
    """Per step what can still be saved: its expected overrun, at most what is still to come on it. Most first.

    ``spent`` is what the forecast was made from. A redo that is going on counts like an open step.
    """
    so_far = {item.uid: item.cost for item in spent}
    found = []
    for uid, step in forecast.steps.items():
        over = forecast.by_uid[uid].total
        to_come = less(step.spent.cost, so_far.get(uid, NONE))
        amount = min(over, to_come)
        if amount > 0:
            found.append(Saving(uid, amount))
    return tuple(sorted(found, key=lambda item: (-item.amount, item.uid)))


def standing(job: str, leaves: Leaves, spent: Iterable[Spent], *, not_agreed: Decimal = NONE) -> Standing:
    """A job with what can still be saved on it; ``not_agreed`` [money before tax] is asked for and not agreed yet."""
    steps = savings(leaves.forecast, spent)
    return Standing(job, leaves.money, added((*(step.amount for step in steps), not_agreed)), steps, not_agreed)


def ranked(jobs: Iterable[Standing]) -> list[Standing]:
    """Jobs in the order to look at them: most to save first; of equals the one that leaves least, then by job.

    >>> found = ranked([Standing("B-12", Decimal(-900), Decimal(0)), Standing("B-15", Decimal(1_100), Decimal(650)),
    ...     Standing("B-11", Decimal(200), Decimal(0))])
    >>> [job.job for job in found]
    ['B-15', 'B-12', 'B-11']
    """
    return sorted(jobs, key=lambda job: (-job.savable, job.leaves, job.job))


class Band(NamedTuple):
    """Margins from ``least`` (None: from anywhere below) up to and without ``most`` (None: and above) [fractions]."""

    least: Decimal | None
    most: Decimal | None


#: Common practice, no source: loses, next to nothing, thin, usual, good.
EDGES = tuple(Decimal(edge) for edge in ("0", "0.1", "0.2", "0.3"))


def bands(edges: Sequence[Decimal] = EDGES) -> tuple[Band, ...]:
    """The bands between ``edges`` and beyond both ends. Raises `BadInput` unless they rise."""
    if any(after <= before for before, after in pairwise(edges)):
        raise BadInput("The edges of margin bands must rise.", field="edges")
    ends = (None, *edges, None)
    return tuple(Band(least, most) for least, most in pairwise(ends))


def band_of(margin: Decimal, edges: Sequence[Decimal] = EDGES) -> Band:
    """The band a margin is in; an edge belongs to the band above it.

    >>> str(band_of(Decimal("0.2")).least), str(band_of(Decimal("-0.01")).most)
    ('0.2', '0')
    """
    at = sum(margin >= edge for edge in edges)
    return bands(edges)[at]


class Offers(NamedTuple):
    """Offers of one band: how many were made, how many were won; ``rate`` None where none was made."""

    made: int = 0
    won: int = 0

    @property
    def rate(self) -> Decimal | None:
        """Won / made."""
        return ratio(Decimal(self.won), Decimal(self.made))


def win_rates(offers: Iterable[tuple[Decimal, bool]], edges: Sequence[Decimal] = EDGES) -> dict[Band, Offers]:
    """How often offers were won, by the band of their margin; ``offers`` are margin [fraction] and whether it was won.

    >>> [rate.rate for rate in win_rates([(Decimal("0.25"), True), (Decimal("0.28"), False)]).values()]
    [None, None, None, Decimal('0.5'), None]
    """
    found = dict.fromkeys(bands(edges), Offers())
    for margin, won in offers:
        band = band_of(margin, edges)
        found[band] = Offers(found[band].made + 1, found[band].won + won)
    return found


class Sold(NamedTuple):
    """A job of a ``kind``: what it was sold for and what it cost, at hand-over and with comebacks since [money before tax]."""

    kind: str
    price: Decimal
    cost: Decimal
    comebacks: Decimal = NONE


class Margins(NamedTuple):
    """All jobs of a kind: how many, and their margins as sums over sums, never as a mean of margins."""

    jobs: int
    price: Decimal
    cost: Decimal
    comebacks: Decimal

    @property
    def at_hand_over(self) -> Decimal | None:
        """(price − cost) / price."""
        return ratio(less(self.price, self.cost), self.price)

    @property
    def after_comebacks(self) -> Decimal | None:
        """(price − cost − comebacks) / price."""
        return ratio(less(self.price, self.cost, self.comebacks), self.price)


def margins(sold: Iterable[Sold]) -> dict[str, Margins]:
    """Margin by kind (of restoration, finish, vendor, as the caller says), in the order of kinds.

    >>> found = margins([Sold("twin", Decimal(100), Decimal(80)), Sold("twin", Decimal(300), Decimal(270), Decimal(10))])
    >>> str(found["twin"].at_hand_over), str(found["twin"].after_comebacks)
    ('0.125', '0.1')
    """
    found: dict[str, list[Sold]] = {}
    for job in sold:
        found.setdefault(job.kind, []).append(job)
    return {
        kind: Margins(
            len(jobs),
            added(job.price for job in jobs),
            added(job.cost for job in jobs),
            added(job.comebacks for job in jobs),
        )
        for kind, jobs in sorted(found.items())
    }


class Poor(NamedTuple):
    """One cost of poor quality [money]: its ``cause``, its ``origin`` (the operation, vendor or supplier it came from), and
    whether it came to light only ``after`` hand-over."""

    cause: str
    origin: str
    cost: Decimal
    after: bool = False


@dataclass(frozen=True, slots=True)
class PoorQuality:
    """What poor quality cost [money], by cause, by origin and by both: each adds up to ``total``."""

    total: Decimal
    before_hand_over: Decimal
    after_hand_over: Decimal
    by_cause: Mapping[str, Decimal]
    by_origin: Mapping[str, Decimal]
    by_both: Mapping[tuple[str, str], Decimal]


def poor_quality(costs: Iterable[Poor]) -> PoorQuality:
    """Plain sums, largest first.

    >>> found = poor_quality([Poor("runs", "coating", Decimal(40)), Poor("grit", "blasting", Decimal(90), after=True),
    ...     Poor("runs", "blasting", Decimal(5))])
    >>> dict(found.by_cause), str(found.after_hand_over)
    ({'grit': Decimal('90'), 'runs': Decimal('45')}, '90')
    """
    given = list(costs)
    late = added(item.cost for item in given if item.after)
    total = added(item.cost for item in given)
    return PoorQuality(
        total=total,
        before_hand_over=less(total, late),
        after_hand_over=late,
        by_cause=_summed((item.cause, item.cost) for item in given),
        by_origin=_summed((item.origin, item.cost) for item in given),
        by_both=_summed(((item.cause, item.origin), item.cost) for item in given),
    )


def _summed(pairs: Iterable[tuple[K, Decimal]]) -> dict[K, Decimal]:
    found: dict[K, list[Decimal]] = {}
    for key, amount in pairs:
        found.setdefault(key, []).append(amount)
    sums = {key: added(amounts) for key, amounts in found.items()}
    return dict(sorted(sums.items(), key=lambda item: (-item[1], str(item[0]))))
