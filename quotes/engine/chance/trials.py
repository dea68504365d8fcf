"""One pass over the merged graph for many trials at once: the forward pass of `quotes.engine.passes` on arrays.

A latest wait delays what comes before it in every trial by itself, as in the plan, as often as `TRIES` allows; it counts
from the last end of the batch before it, redo included. What it still does not fit by then is counted.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quotes.engine.chance.clocks import Clocks, Ints
from quotes.engine.chance.durations import Delay, Sample
from quotes.engine.network import Kind, Limit, Network, Node

TRIES = 30


@dataclass(frozen=True, slots=True)
class Shape:
    """Where ends are kept: a row for each node, behind them one for each step that can fail.

    ``rows`` are those of steps, ``failed`` the steps of the rows behind, ``failing`` the same by node; ``before`` the
    rows that each node waits for, ``last`` those nobody waits for; ``owner`` the node of a row.
    """

    rows: dict[str, int]
    failed: tuple[str, ...]
    failing: tuple[tuple[str, ...], ...]
    before: tuple[tuple[int, ...], ...]
    last: tuple[int, ...]
    owner: tuple[int, ...]

    @classmethod
    def of(cls, graph: Network, failing: Sequence[str]) -> "Shape":
        """The shape of ``graph`` where the steps ``failing`` may."""
        own = sorted(failing)
        rows = dict(graph.home)
        rows.update({uid: len(graph.nodes) + k for k, uid in enumerate(own)})
        by_node: list[list[str]] = [[] for _ in graph.nodes]
        for uid in own:
            by_node[graph.home[uid]].append(uid)
        before: list[set[int]] = [set() for _ in graph.nodes]
        waited_for: set[str] = set()
        for uid, preds in graph.waits.items():
            before[graph.home[uid]].update(rows[pred] for pred in preds)
            waited_for.update(preds)
        last = {rows[uid] for uid in graph.home if uid not in waited_for}
        owner = (*range(len(graph.nodes)), *(graph.home[uid] for uid in own))
        return cls(
            rows,
            tuple(own),
            tuple(map(tuple, by_node)),
            tuple(tuple(sorted(needed)) for needed in before),
            tuple(sorted(last)),
            owner,
        )


@dataclass(frozen=True, slots=True)
class Ends:
    """When everything has ended: ``finish`` by row and trial; ``path`` the last end; trials that broke a latest wait."""

    finish: NDArray[np.int64]
    path: Ints
    broken: NDArray[np.bool_]


def ends(graph: Network, shape: Shape, clocks: Clocks, sample: Sample, start: int, limits: Sequence[Limit]) -> Ends:
    """The ends of ``sample`` when the work begins at ``start`` and honours ``limits``."""
    run = _Run(graph, shape, clocks, sample, start, limits)
    run.all()
    path = np.full(sample.count, start, dtype=np.int64)
    for row in shape.last:
        np.maximum(path, run.finish[row], out=path)
    return Ends(run.finish, path, run.broken)


class _Run:
    """One pass."""

    def __init__(
        self, graph: Network, shape: Shape, clocks: Clocks, sample: Sample, start: int, limits: Sequence[Limit]
    ) -> None:
        self.graph, self.shape, self.clocks, self.sample, self.start = graph, shape, clocks, sample, start
        self.finish = np.zeros((len(shape.owner), sample.count), dtype=np.int64)
        self.broken = np.zeros(sample.count, dtype=np.bool_)
        self.release: dict[int, Ints] = {}
        self.limits: dict[int, list[Limit]] = {}
        for limit in limits:
            self.limits.setdefault(limit.follower, []).append(limit)
        self.leaders = {limit.leader for limit in limits}
        self.last_end: dict[int, Ints] = {}
        self.tries: dict[Limit, int] = {}

    def all(self) -> None:
        """Every node, and again those that a latest wait has moved."""
        waiting = [True] * len(self.graph.nodes)
        index = 0
        while index < len(waiting):
            if not waiting[index]:
                index += 1
                continue
            ready = self.ready(index)
            moved = self._moved_leader(index, ready) if index in self.limits else None
            if moved is not None:
                waiting[moved] = True
                index = moved
                continue
            waiting[index] = False
            if self._ended(index, ready):
                for follower in self.graph.after[index]:
                    waiting[follower] = True
            index += 1

    def ready(self, index: int) -> Ints:
        """When a node could begin."""
        rows = self.shape.before[index]
        if not rows:
            ready = np.full(self.sample.count, self.start, dtype=np.int64)
        elif len(rows) == 1:
            ready = self.finish[rows[0]]
        else:
            ready = np.maximum(self.finish[rows[0]], self.finish[rows[1]])
            for row in rows[2:]:
                np.maximum(ready, self.finish[row], out=ready)
        return np.maximum(ready, self.release[index]) if index in self.release else ready

    def _ended(self, index: int, ready: Ints) -> bool:
        """Note when a node has ended; whether that has changed."""
        done = self._forward(index, ready)
        changed = not np.array_equal(done, self.finish[index])
        self.finish[index] = done
        for uid in self.shape.failing[index]:
            row, delay = self.shape.rows[uid], self.sample.delays.get(uid)
            self.finish[row] = done
            if delay is not None and len(delay.trials):
                self.finish[row, delay.trials] = self._delayed(done[delay.trials], delay)
        if index in self.leaders:
            rows = [index, *[self.shape.rows[uid] for uid in self.shape.failing[index]]]
            self.last_end[index] = self.finish[rows].max(axis=0)
        return changed

    def _forward(self, index: int, ready: Ints) -> Ints:
        node, clocks = self.graph.nodes[index], self.clocks
        minutes, lead = self.sample.minutes[index], self.sample.lead[index]
        if not node.working:
            return ready
        if node.back:
            assert lead is not None, "at least one day is left"
            return np.maximum(ready, clocks.shop.closing(clocks.shop.after(np.zeros_like(lead), lead - 1)))
        done = ready
        if minutes is not None:
            done = clocks.bike.add(self._begins(index, ready) if node.together else ready, minutes)
        if node.kind is Kind.LABOUR:
            return done + node.elapsed if node.elapsed else done
        if node.kind is Kind.ORDER:
            if lead is None:
                return done
            return clocks.shop.closing(clocks.shop.after(clocks.bike.day_at(done), lead))
        return self._back(node, clocks.bike.day_at(done), lead)

    def _back(self, node: Node, leaves: Ints, lead: Ints | None) -> Ints:
        shop, vendor = self.clocks.shop, self.clocks.vendors[node.calendar]
        there = shop.after(leaves, node.transport) if node.transport else leaves
        return shop.closing(shop.after(vendor.after(there, lead if lead is not None else 0), node.transport))

    def _delayed(self, done: Ints, delay: Delay) -> Ints:
        shop, bike = self.clocks.shop, self.clocks.bike
        end = bike.add(done, delay.minutes) + delay.elapsed
        if not delay.days.any():
            return end
        back = shop.closing(shop.after(bike.day_at(end), delay.days))
        return np.where(delay.days > 0, back, end)

    def _moved_leader(self, index: int, ready: Ints) -> int | None:
        """The node that must come later so that ``index`` does not keep it waiting; None when all is well."""
        begin = self._begins(index, ready)
        for limit in self.limits[index]:
            late = begin > self.last_end[limit.leader] + limit.most
            if not late.any():
                continue
            self.tries[limit] = self.tries.get(limit, 0) + 1
            if self.tries[limit] > TRIES:
                self.broken |= late
                continue
            # The earliest begin that does not end too early: the one after the latest that does.
            release = np.where(late, self._latest(limit.leader, begin - limit.most - 1) + 1, 0)
            held = self.release.get(limit.leader)
            self.release[limit.leader] = release if held is None else np.maximum(held, release)
            return limit.leader
        return None

    def _begins(self, index: int, ready: Ints) -> Ints:
        """When somebody begins a node; what takes no time begins at once."""
        minutes = self.sample.minutes[index]
        if minutes is None:
            return ready
        node, bike = self.graph.nodes[index], self.clocks.bike
        begin = bike.together(ready, minutes) if node.together else bike.opening(ready)
        return np.where(minutes > 0, begin, ready)

    def _latest(self, index: int, finish: Ints) -> Ints:
        """The latest begin of a node, work of hands, with which it has ended by ``finish``."""
        node, minutes = self.graph.nodes[index], self.sample.minutes[index]
        finish = finish - node.elapsed
        if minutes is None:
            return finish
        bike = self.clocks.bike
        begin = bike.together_by(finish, minutes) if node.together else bike.subtract(finish, minutes)
        return np.where(minutes > 0, begin, finish)


def drivers(
    graph: Network, shape: Shape, ended: Ends, trials: NDArray[np.bool_]
) -> Iterator[tuple[int, NDArray[np.bool_]]]:
    """Rows with the ``trials`` in which they are on the way that decides the last end, from the last back to the start."""
    on = np.zeros((len(graph.nodes), len(ended.path)), dtype=np.bool_)
    if shape.last:
        yield from _decided_by(shape, ended, shape.last, trials, on)
    for index in range(len(graph.nodes) - 1, -1, -1):
        rows = shape.before[index]
        if on[index].any() and rows:
            trials = on[index]
            if graph.nodes[index].back:  # decided by the day it comes, unless what was put before it ends later
                trials = trials & (ended.finish[list(rows)].max(axis=0) == ended.finish[index])
            yield from _decided_by(shape, ended, rows, trials, on)


def _decided_by(
    shape: Shape, ended: Ends, rows: Sequence[int], trials: NDArray[np.bool_], on: NDArray[np.bool_]
) -> Iterator[tuple[int, NDArray[np.bool_]]]:
    last = ended.finish[list(rows)].max(axis=0)
    left = trials.copy()
    for row in rows:
        hit = left & (ended.finish[row] == last)
        if hit.any():
            on[shape.owner[row]] |= hit
            left &= ~hit
            yield row, hit
