"""The day that is kept: the ready day when work goes faster or slower, vendors are late, and things fail.

Every trial takes the plan's merged graph through the same calendars. One pace for the whole bike and one speed error
for each step stretch the attended minutes (lognormal, mean 1); lead times are lognormal about what is expected; a step
that fails sends its part back, and what that takes stands behind it; hands and places are no more than there are. What is
out or on order is late about the working days left until it is told to be back; what is done does not fail any more. With
no spread and nothing that fails every trial is the plan. Holds and the load of others are taken as they are given.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from math import ceil, floor, sqrt

import numpy as np
from numpy.typing import NDArray

from quotes.engine.calendars import DAY, WorkingTime, day_of, day_text
from quotes.engine.chance.clocks import Clocks, Ints
from quotes.engine.chance.durations import Durations, Sample
from quotes.engine.chance.quantiles import Array
from quotes.engine.chance.redo import Redo
from quotes.engine.chance.trials import Shape, drivers, ends
from quotes.engine.inputs import Restoration, Schedule
from quotes.engine.network import Kind, Network, network, whole
from quotes.engine.passes import Times, early_pass
from quotes.engine.plan import WHOLE, schedule_of, share_of, start_of, times_of
from quotes.engine.planned import Plan
from quotes.engine.results import Remark, StepResult

LEAST, MOST, STEP = 500, 4_000, 500
#: How well the day that is kept must be known [working days, standard error].
WANTED = 0.5
BARS, CAUSES = 12, 8
BEYOND = "In some cases it takes until after {known}, when the holidays of {name} are not known. Add those that follow."


class CauseKind(StrEnum):
    """What a ready day hangs on: a lot, an order, a part, a batch of parts, the hands there are, a place."""

    LOT = "lot"
    ORDER = "order"
    PART = "part"
    BATCH = "batch"
    HANDS = "hands"
    PLACE = "place"


@dataclass(frozen=True, slots=True)
class Bar:
    """The chance that the bike is ready from the day ``first`` to the day ``last``."""

    first: str
    last: str
    chance: Decimal


@dataclass(frozen=True, slots=True)
class Cause:
    """In this ``share`` of trials the thing was on the way that decided the ready day.

    ``uid`` is a part's, a place's key, or the first step of a lot, order or batch; empty for the hands.
    """

    kind: CauseKind
    uid: str
    name: str
    share: Decimal


@dataclass(frozen=True, slots=True)
class Promise:
    """``likely`` is the middle one of all days; ``day`` the one kept in ``kept`` of all cases [fraction].

    ``day`` is never before the plan's: who promises a day before it counts on every step going faster than expected.
    ``error`` is its standard error [working days], from ``trials`` trials. In ``broken`` of them [fraction] a latest
    wait was not honoured.
    """

    planned: str
    likely: str
    day: str
    kept: Decimal
    trials: int
    error: Decimal
    bars: tuple[Bar, ...]
    causes: tuple[Cause, ...]
    broken: Decimal
    remarks: tuple[Remark, ...]


def promise(
    restoration: Restoration,
    steps: Sequence[StepResult],
    batches: Sequence[tuple[str, ...]],
    plan: Plan,
    *,
    seed: str = "",
    trials: int = 0,
) -> Promise:
    """The day that ``restoration``, planned by ``plan``, is ready in `Policy.kept` of all cases.

    The same ``seed`` gives the same days, in whatever order parts come. ``trials`` sets their number; 0 takes as many
    as the error asks for, from `LEAST` to `MOST`. Raises `BadInput` as `plan` does.
    """
    return _Simulation(restoration, steps, batches, plan, seed).promise(trials)


def error_of(values: Array, share: float) -> float:
    """Standard error of the quantile ``share`` of ``values``, from the order statistics about it.

    Source: the distribution-free interval of a quantile: the count below it is binomial, so that a standard error is
    half the way between the order statistics N q ± √(N q (1 − q)).
    """
    ordered = np.sort(values)
    count = len(ordered)
    about = sqrt(count * share * (1 - share))
    low = max(1, floor(count * share - about))
    high = min(count, ceil(count * share + about))
    return float(ordered[high - 1] - ordered[low - 1]) / 2


@dataclass(slots=True)
class _Found:
    """What trials have found so far."""

    end: Ints
    broken: int
    causes: dict[tuple[CauseKind, str], int]


class _Simulation:
    def __init__(
        self,
        restoration: Restoration,
        steps: Sequence[StepResult],
        batches: Sequence[tuple[str, ...]],
        plan: Plan,
        seed: str,
    ) -> None:
        self.restoration, self.plan = restoration, plan
        self.schedule = schedule_of(restoration)
        self.graph: Network = network(restoration, steps, batches)
        self.times: Times = times_of(self.schedule, self.graph)
        start = start_of(self.schedule, self.times)
        dropped = early_pass(self.graph, self.times, start).dropped
        self.limits = [limit for limit in self.graph.limits if limit not in dropped]
        self.first = self.times.shop.first
        self.start = start - self.first * DAY
        self.durations = Durations(restoration, self.graph, self.times, steps, seed)
        self.redo = Redo(restoration, self.graph, steps, self.durations.streams)
        self.shape = Shape.of(self.graph, tuple(self.redo.failing()))
        ready = day_of(plan.ready)
        self.until = ready + (ready - self.first) + DAY // 4
        self.clocks = Clocks.of(self.times, self.until)

    def promise(self, trials: int) -> Promise:
        kept = float(self.restoration.policy.kept)
        found = self._tried(trials or LEAST)
        error = error_of(self._working_days(found.end), kept)
        while not trials and error > WANTED and len(found.end) < MOST:
            more = len(found.end) * (error / WANTED) ** 2 * 1.1 - len(found.end)
            count = min(MOST - len(found.end), STEP * ceil(more / STEP))
            found = self._together(found, self._tried(count))
            error = error_of(self._working_days(found.end), kept)
        return self._said(found, error)

    def _tried(self, count: int) -> _Found:
        sample = self.durations.sample(count, self.redo)
        while True:
            ended = ends(self.graph, self.shape, self.clocks, sample, self.start, self.limits)
            floors = list(_floors(sample, self.schedule, self.clocks, self.start))
            end = np.maximum.reduce([ended.path, *[until for _, until in floors]])
            if int(end.max()) < self.clocks.limit:
                break
            self.until += self.until - self.first
            self.clocks = Clocks.of(self.times, self.until)
        causes: dict[tuple[CauseKind, str], int] = {}
        left = end > ended.path
        for cause, until in floors:
            binds = left & (until == end)
            left &= ~binds
            causes[cause] = int(binds.sum())
        on: dict[tuple[CauseKind, str], NDArray[np.bool_]] = {}
        for row, hit in drivers(self.graph, self.shape, ended, end == ended.path):
            if self.graph.nodes[self.shape.owner[row]].done:
                continue
            cause = self._cause(row)
            on[cause] = on[cause] | hit if cause in on else hit
        causes.update({cause: int(hit.sum()) for cause, hit in on.items()})
        return _Found(end, int(ended.broken.sum()), causes)

    @staticmethod
    def _together(one: _Found, other: _Found) -> _Found:
        causes = {key: one.causes.get(key, 0) + other.causes.get(key, 0) for key in {**one.causes, **other.causes}}
        return _Found(np.concatenate((one.end, other.end)), one.broken + other.broken, causes)

    def _cause(self, row: int) -> tuple[CauseKind, str]:
        """A lot, an order or a batch by its first step; a part that goes alone, or fails, by its uid."""
        nodes = self.graph.nodes
        node = nodes[self.shape.owner[row]]
        if row >= len(nodes) or (node.kind is Kind.LABOUR and len(node.uids) == 1):
            uid = self.shape.failed[row - len(nodes)] if row >= len(nodes) else node.uid
            if node.kind is Kind.LABOUR:
                return CauseKind.PART, self.graph.members[uid][0].uid
        kinds = {Kind.LABOUR: CauseKind.BATCH, Kind.LOT: CauseKind.LOT, Kind.ORDER: CauseKind.ORDER}
        return kinds[node.kind], node.uid

    def _working_days(self, end: Ints) -> Array:
        """Working days until ``end``, with fractions."""
        clock = self.clocks.bike
        mean = clock.worked[-1] / len(clock.days)
        return np.asarray(clock.worked_by(end) / mean, dtype=np.float64)

    def _said(self, found: _Found, error: float) -> Promise:
        days = np.sort(self.clocks.bike.day_at(found.end))
        count, kept = len(days), self.restoration.policy.kept
        likely, day = (int(days[_rank(share, count) - 1]) + self.first for share in (Decimal("0.5"), kept))
        day = max(day, day_of(self.plan.ready))
        return Promise(
            planned=self.plan.ready,
            likely=day_text(likely),
            day=day_text(day),
            kept=kept,
            trials=count,
            error=Decimal(str(round(error, 2))),
            bars=tuple(_bars(days, self.first)),
            causes=tuple(self._causes(found, count)),
            broken=Decimal(found.broken) / count,
            remarks=tuple(self._remarks(max(day, likely))),
        )

    def _causes(self, found: _Found, count: int) -> Iterator[Cause]:
        ordered = sorted(found.causes.items(), key=lambda item: (-item[1], item[0]))
        for (kind, uid), times in ordered[:CAUSES]:
            if times:
                yield Cause(kind, uid, self._name(kind, uid), Decimal(times) / count)

    def _name(self, kind: CauseKind, uid: str) -> str:
        given = self.restoration
        if kind is CauseKind.PART:
            return next(part.name for part in given.parts if part.uid == uid)
        names = {
            CauseKind.LOT: {item.key: item.name for item in given.services},
            CauseKind.ORDER: {item.key: item.name for item in given.purchases},
            CauseKind.BATCH: {item.key: item.name for item in given.operations},
        }
        return names[kind][self.graph.members[uid][1].ref] if kind in names else uid

    def _remarks(self, until: int) -> Iterator[Remark]:
        working: WorkingTime
        for working in {id(item): item for item in (self.times.shop, *self.times.vendors.values())}.values():
            known = working.calendar.known_until
            if known and day_of(known) < until:
                yield Remark(False, "", "", BEYOND, (("known", known), ("name", working.calendar.name)))


def _rank(share: Decimal, count: int) -> int:
    """The order statistic ⌈q N⌉, at least the first."""
    return max(1, ceil(share * count))


def _bars(days: Ints, first: int) -> Iterator[Bar]:
    """At most `BARS` bars of equal width that hold all ``days``, in order."""
    low, high, width = int(days[0]), int(days[-1]), 1
    while (high - low) // width >= BARS:
        width = 7 if width == 1 else width * 2
    counts = np.bincount((days - low) // width)
    for number, times in enumerate(counts.tolist()):
        begins = first + low + number * width
        yield Bar(day_text(begins), day_text(begins + width - 1), Decimal(times) / len(days))


def _floors(
    sample: Sample, schedule: Schedule, clocks: Clocks, start: int
) -> Iterator[tuple[tuple[CauseKind, str], Ints]]:
    """What hands and places allow at the best, as in the plan."""
    load = {place: whole(minutes) for place, minutes in schedule.load}
    begin = np.full(sample.count, start, dtype=np.int64)
    share = share_of(schedule)
    if share and sample.hands.any():
        own, together = (_divided(sample.hands + others, share) for others in (0, load.get("", 0)))
        until = np.maximum(clocks.bike.add(begin, own), clocks.shop.add(begin, together))
        yield (CauseKind.HANDS, ""), until
    for place in sorted(sample.taken):
        attended, taken, others = sample.attended[place], sample.taken[place], load.get(place, 0)
        until = np.maximum(clocks.bike.add(begin, attended), clocks.shop.add(begin, attended + others))
        yield (CauseKind.PLACE, place), np.maximum(until, start + taken + others)


def _divided(minutes: Ints, share: int) -> Ints:
    """As `quotes.engine.plan.divided`."""
    return -(-minutes * WHOLE // share)
