"""What failures add: how often each step of a route is done again in each trial, and the time that takes.

A step is done until it passes: its failures are geometric. Each sends the part back to an earlier step through
remedies, and every step passed again may fail again, by draws of its own. All of it is put behind the step that failed
first: hands, then the clock, then days away. What is done has passed, and fails again only where a later step sends its
part back to it; what is out may still fail. Days of a redo at a vendor's are counted on the shop's calendar.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from quotes.engine.chance.clocks import Ints
from quotes.engine.chance.durations import Delay, Sample, Speeds, Streams, rounded
from quotes.engine.chance.quantiles import Array
from quotes.engine.inputs import Operation, Part, Purchase, Restoration, Service, Work
from quotes.engine.network import Network, has_work, loads, whole
from quotes.engine.results import StepResult


@dataclass(frozen=True, slots=True)
class Again:
    """What one more visit takes: attended ``minutes``, ``elapsed`` [min], ``lead`` and ``road`` days, its place."""

    minutes: float = 0.0
    elapsed: int = 0
    lead: int = 0
    late: float = 0.0
    road: int = 0
    place: str = ""
    occupies: bool = False


@dataclass(frozen=True, slots=True)
class Way:
    """A way back with ``chance`` to the step ``to`` (an index) through remedies."""

    chance: float
    to: int
    remedy: Again


@dataclass(frozen=True, slots=True)
class Stage:
    """A step of a route that can be done again."""

    uid: str
    again: Again
    ways: tuple[Way, ...]

    @property
    def fail(self) -> float:
        """The chance that one visit fails."""
        return sum(way.chance for way in self.ways)


class Redo:
    """The routes of a restoration on which something can fail."""

    def __init__(self, restoration: Restoration, graph: Network, steps: Sequence[StepResult], streams: Streams) -> None:
        self.streams = streams
        self.passed = {node.uid for node in graph.nodes if node.done}
        self._works: dict[tuple[Work, str], Operation | Service | Purchase] = {
            **{(Work.OPERATION, item.key): item for item in restoration.operations},
            **{(Work.SERVICE, item.key): item for item in restoration.services},
            **{(Work.PURCHASE, item.key): item for item in restoration.purchases},
        }
        priced = {step.uid: step for step in steps}
        self.routes = [
            list(self._stages(part, priced))
            for part in restoration.parts
            if part.pieces and any(step.ways_back for step in part.steps)
        ]

    def failing(self) -> Iterator[str]:
        """The steps that can fail."""
        for route in self.routes:
            yield from (stage.uid for stage in route if self._may_fail(stage))

    def _may_fail(self, stage: Stage) -> bool:
        return bool(stage.fail) and stage.uid not in self.passed

    def __call__(self, sample: Sample, speeds: Speeds) -> None:
        """Add to ``sample`` what fails in it."""
        for route in self.routes:
            for at, stage in enumerate(route):
                if self._may_fail(stage):
                    sample.delays[stage.uid] = self._delay(route, at, sample, speeds)

    def _stages(self, part: Part, priced: dict[str, StepResult]) -> Iterator[Stage]:
        at = {step.uid: index for index, step in enumerate(part.steps)}
        for step in part.steps:
            result = priced[step.uid]
            if not has_work(part, step):
                yield Stage(step.uid, Again(), ())
                continue
            work = self._works[step.work, step.ref]
            count = loads(work, [(part, step)]) if isinstance(work, Operation) and work.occupies else 1
            again = _again([work], float(result.redo.minutes), count)
            ways = tuple(
                Way(
                    float(way.chance),
                    at[way.to],
                    _again([self._works[r.work, r.ref] for r in way.remedies], float(minutes), 1),
                )
                for way, minutes in zip(step.ways_back, self._remedies(result, len(step.ways_back)), strict=True)
            )
            yield Stage(step.uid, again, ways)

    @staticmethod
    def _remedies(result: StepResult, ways: int) -> list[float]:
        given = [float(visit.minutes) for visit in result.remedies]
        return given or [0.0] * ways

    def _delay(self, route: Sequence[Stage], at: int, sample: Sample, speeds: Speeds) -> Delay:
        source = self.streams.of("redo", route[at].uid)
        failures = source.geometric(1 - route[at].fail, sample.count) - 1
        trials = np.flatnonzero(failures)
        count = len(trials)
        adding = _Adding(sample, trials, speeds, source)
        passes = np.zeros((at + 1, count), dtype=np.int64)
        for index in range(at, -1, -1):
            stage = route[index]
            failed = failures[trials] if index == at else _failed(source, stage.fail, passes[index])
            adding.visits(stage, failed + passes[index])
            if stage.fail:
                for way, taken in _shared_out(source, stage, failed):
                    passes[way.to : index] += taken
                    adding.remedies(way, taken)
        return Delay(trials, rounded(adding.minutes), adding.elapsed, rounded(adding.days))


class _Adding:
    """The time of the redo behind one step while it is added up."""

    def __init__(self, sample: Sample, trials: Ints, speeds: Speeds, source: np.random.Generator) -> None:
        self.sample, self.trials, self.speeds, self.source = sample, trials, speeds, source
        self.pace = speeds.bike[trials]
        self.minutes: Array = np.zeros(len(trials))
        self.elapsed: Ints = np.zeros(len(trials), dtype=np.int64)
        self.days: Array = np.zeros(len(trials))

    def visits(self, stage: Stage, count: Ints) -> None:
        """``count`` more visits of ``stage``, at the speed of its first."""
        if count.any():
            self._add(stage.again, count, self.speeds.of(stage.uid)[self.trials])

    def remedies(self, way: Way, count: Ints) -> None:
        """The remedies of ``way``, ``count`` times."""
        if count.any():
            self._add(way.remedy, count, 1.0)

    def _add(self, again: Again, count: Ints, speed: "Array | float") -> None:
        minutes = count * again.minutes * speed * self.pace
        self.minutes += minutes
        self.elapsed += count * again.elapsed
        self.sample.hands[self.trials] += rounded(minutes)
        if again.place:
            alone = count * again.elapsed if again.occupies else 0
            self.sample.at_place(again.place, self.trials, rounded(minutes), alone)
        if again.lead or again.road:
            late = np.ones(len(count))
            if again.late:
                late = _lognormal(self.source, again.late, len(count))
            self.days += count * (again.lead * late + 2 * again.road)


def _lognormal(source: np.random.Generator, spread: float, count: int) -> Array:
    variance = float(np.log1p(spread * spread))
    return source.lognormal(-variance / 2, variance**0.5, count)


def _failed(source: np.random.Generator, chance: float, passes: Ints) -> Ints:
    """Failures until every one of ``passes`` has passed."""
    failed = np.zeros_like(passes)
    some = np.flatnonzero(passes)
    if chance and len(some):
        failed[some] = source.negative_binomial(passes[some], 1 - chance)
    return failed


def _shared_out(source: np.random.Generator, stage: Stage, failed: Ints) -> Iterator[tuple[Way, Ints]]:
    """Which way back each failure takes."""
    left, chance = failed, stage.fail
    for way in stage.ways[:-1]:
        taken = source.binomial(left, min(1.0, way.chance / chance)) if chance > 0 else left * 0
        yield way, taken
        left, chance = left - taken, chance - way.chance
    yield stage.ways[-1], left


def _again(works: Sequence[Operation | Service | Purchase], minutes: float, count: int) -> Again:
    """All ``works`` one after the other; only one alone has a place of its own."""
    elapsed = lead = road = 0
    late, place, occupies = 0.0, "", False
    for work in works:
        if isinstance(work, Operation):
            elapsed += whole(work.elapsed * count)
            place, occupies = work.place, work.occupies
        else:
            lead += work.lead_days
            late = max(late, float(work.late_spread))
            road += work.transport_days if isinstance(work, Service) else 0
    only = len(works) == 1
    return Again(minutes, elapsed, lead, late, road, place if only else "", occupies and only)
