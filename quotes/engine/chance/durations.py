"""What each node takes in each trial: the bike's pace, each step's own speed, late vendors, redo."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from hashlib import sha256

import numpy as np

from quotes.engine.chance.clocks import Ints
from quotes.engine.chance.quantiles import Array, lognormal
from quotes.engine.inputs import Restoration, Work
from quotes.engine.network import Kind, Network, Node, has_work
from quotes.engine.passes import Times, left_until_back
from quotes.engine.results import StepResult


@dataclass(frozen=True, slots=True)
class Delay:
    """What the failures of a step add behind it, in the ``trials`` in which it fails.

    Attended ``minutes``, then ``elapsed`` on the clock, then ``days`` of the shop's calendar away.
    """

    trials: Ints
    minutes: Ints
    elapsed: Ints
    days: Ints


@dataclass(slots=True)
class Sample:
    """``count`` trials: ``minutes`` and ``lead`` [days] by node, None where there are none, delays by step uid.

    The ``lead`` of what is out are the working days left until it is back, the first among them.

    ``hands`` are all attended minutes; ``attended`` and ``taken`` those of each place.
    """

    count: int
    minutes: list[Ints | None]
    lead: list[Ints | None]
    delays: dict[str, Delay]
    hands: Ints
    attended: dict[str, Ints]
    taken: dict[str, Ints]

    @classmethod
    def of(cls, graph: Network, minutes: list[Ints | None], lead: list[Ints | None], count: int) -> "Sample":
        """Trials in which nothing fails."""
        sample = cls(count, minutes, lead, {}, _none(count), {}, {})
        for node, own in zip(graph.nodes, minutes, strict=True):
            if own is not None:
                sample.hands += own
            if node.place and node.taken:
                sample.at_place(node.place, slice(None), own if own is not None else _none(count), node.taken_only)
        return sample

    def at_place(self, place: str, trials: "Ints | slice", attended: Ints, alone: "Ints | int") -> None:
        """Count minutes at a place: ``attended``, and those for which it is taken ``alone``."""
        self.attended.setdefault(place, _none(self.count))[trials] += attended
        self.taken.setdefault(place, _none(self.count))[trials] += attended + alone


def _none(count: int) -> Ints:
    return np.zeros(count, dtype=np.int64)


def rounded(values: Array) -> Ints:
    """To the whole, half up."""
    return np.floor(values + 0.5).astype(np.int64)


@dataclass(slots=True)
class Streams:
    """A source of chance for every thing, by its permanent uid: the same whatever else there is, in whatever order.

    The sources go on from one sample to the next.
    """

    seed: str
    _sources: dict[tuple[str, str], np.random.Generator] = field(default_factory=dict)

    def of(self, what: str, uid: str = "") -> np.random.Generator:
        """The source for ``what`` may happen to the thing ``uid``."""
        found = self._sources.get((what, uid))
        if found is None:
            digest = sha256("\0".join((self.seed, what, uid)).encode()).digest()
            found = np.random.Generator(np.random.Philox(key=int.from_bytes(digest[:16])))
            self._sources[what, uid] = found
        return found

    def factors(self, what: str, uid: str, spread: float, count: int) -> Array:
        """Lognormal factors of mean 1 and CV ``spread``."""
        if not spread:
            return np.ones(count)
        return lognormal(self.of(what, uid).standard_normal(count), spread)


class Speeds:
    """The pace of the bike and the speed of each step in one sample; every visit of a step shares its speed."""

    def __init__(self, streams: Streams, pace: float, spreads: dict[str, float], count: int) -> None:
        self.count = count
        self.streams = streams
        self.spreads = spreads
        self.bike = streams.factors("pace", "", pace, count)
        self._drawn: dict[str, Array] = {}

    def of(self, uid: str) -> Array:
        """The speed error of the step ``uid``, without the bike's pace."""
        found = self._drawn.get(uid)
        if found is None:
            found = self.streams.factors("speed", uid, self.spreads.get(uid, 0.0), self.count)
            self._drawn[uid] = found
        return found


class Durations:
    """Draws samples of what the nodes of ``graph`` take by the calendars ``times``."""

    def __init__(
        self, restoration: Restoration, graph: Network, times: Times, steps: Sequence[StepResult], seed: str
    ) -> None:
        self.graph = graph
        self.left = {node.uid: left_until_back(times, node) for node in graph.nodes if node.back}
        self.streams = Streams(seed)
        self.pace = float(restoration.policy.pace_spread)
        self.first = {step.uid: float(step.first.minutes) for step in steps}
        operations = {item.key: float(item.spread) for item in restoration.operations}
        self.spreads = {
            uid: operations[step.ref] for uid, (_, step) in graph.members.items() if step.work is Work.OPERATION
        }
        self.late: dict[tuple[Work, str], float] = {
            **{(Work.SERVICE, item.key): float(item.late_spread) for item in restoration.services},
            **{(Work.PURCHASE, item.key): float(item.late_spread) for item in restoration.purchases},
        }

    def sample(self, count: int, redo: Callable[[Sample, Speeds], None]) -> Sample:
        """The next ``count`` trials; ``redo`` adds what fails."""
        speeds = Speeds(self.streams, self.pace, self.spreads, count)
        minutes = [self._minutes(node, speeds) for node in self.graph.nodes]
        lead = [self._lead(node, count) for node in self.graph.nodes]
        sample = Sample.of(self.graph, minutes, lead, count)
        redo(sample, speeds)
        return sample

    def _minutes(self, node: Node, speeds: Speeds) -> Ints | None:
        """Attended minutes: those of each member at its own speed, all at the bike's pace."""
        if not node.minutes or not node.working:
            return None
        if node.kind is not Kind.LABOUR:
            return rounded(node.minutes * speeds.bike)
        weights = [(self.first[uid], uid) for uid in node.uids if has_work(*self.graph.members[uid])]
        together = sum([weight for weight, _ in weights])
        mixed = np.zeros(speeds.count)
        for weight, uid in weights:
            if weight:
                mixed += weight / together * speeds.of(uid)
        return rounded(node.minutes * mixed * speeds.bike)

    def _lead(self, node: Node, count: int) -> Ints | None:
        lead = self.left.get(node.uid, node.lead)
        if not lead or not node.working:
            return None
        step = self.graph.members[node.uid][1]
        factors = self.streams.factors("late", node.uid, self.late.get((step.work, step.ref), 0.0), count)
        days = rounded(lead * factors)
        return np.maximum(days, 1) if node.back else days
