"""Which steps share a set-up or a lot.

Steps belong together when their operation or service, finish, material and turn on the route are the same, and no
member waits, however indirectly, for another: the graph in which batches are single nodes stays free of cycles.
"""

from collections.abc import Mapping, Sequence
from decimal import ROUND_CEILING, Decimal

from quotes.engine.formulas import variant
from quotes.engine.graph import left_over
from quotes.engine.inputs import Part, Work

Key = tuple[str, ...]


def keys(parts: Sequence[Part], *, alone: frozenset[str] = frozenset()) -> dict[str, Key]:
    """Step uid to batch key. Purchases and operations whose ``ref`` is in ``alone`` get a key of their own."""
    result: dict[str, Key] = {}
    for part in parts:
        turns: dict[tuple[Work, str], int] = {}
        for step in part.steps:
            work = (step.work, step.ref)
            turns[work] = turn = turns.get(work, 0) + 1
            own = step.work is Work.PURCHASE or (step.work is Work.OPERATION and step.ref in alone)
            if own or not part.pieces:
                result[step.uid] = (step.uid,)
            else:
                result[step.uid] = (step.work, step.ref, step.process, part.material, str(turn))
    return result


def formed(of: Mapping[str, Key], before: Mapping[str, Sequence[str]]) -> list[tuple[str, ...]]:
    """Batches as tuples of step uids, in canonical order; every step is in exactly one.

    All steps of one key at first; only where that closes a circle of waits are they put together one by one, in the
    order of their uids, each into the first batch of its key that it can join.
    """
    groups: dict[Key, list[str]] = {}
    for uid in sorted(of):
        groups.setdefault(of[uid], []).append(uid)
    home = {uid: members[0] for members in groups.values() for uid in members}
    merged = _merged(before, home)
    stuck = set(left_over(merged))
    if not stuck:
        return sorted(tuple(members) for members in groups.values())
    batches = [tuple(members) for members in groups.values() if members[0] not in stuck]
    tangled = sorted(members for members in groups.values() if members[0] in stuck)
    home.update({uid: uid for members in tangled for uid in members})
    graph = _Contracted(_merged(before, home))
    for members in tangled:
        batches.extend(_one_by_one(members, graph))
    return sorted(batches)


class _Contracted:
    """The graph of batches while they are put together."""

    def __init__(self, before: Mapping[str, set[str]]) -> None:
        self.before = {node: set(preds) for node, preds in before.items()}
        self.after: dict[str, set[str]] = {node: set() for node in before}
        for node, preds in before.items():
            for pred in preds:
                self.after[pred].add(node)

    def leads(self, start: str, end: str) -> bool:
        """Whether a path goes from ``start`` to ``end``."""
        seen, todo = {start}, [start]
        while todo:
            for node in self.after[todo.pop()]:
                if node == end:
                    return True
                if node not in seen:
                    seen.add(node)
                    todo.append(node)
        return False

    def join(self, head: str, node: str) -> None:
        """Make ``node`` part of ``head``."""
        for near, far in ((self.before, self.after), (self.after, self.before)):
            for other in near.pop(node):
                far[other].discard(node)
                far[other].add(head)
                near[head].add(other)


def _one_by_one(members: Sequence[str], graph: _Contracted) -> list[tuple[str, ...]]:
    """``members`` of one key put together as far as no circle closes."""
    batches: dict[str, list[str]] = {}
    for uid in members:
        for head, batch in batches.items():
            if not graph.leads(head, uid) and not graph.leads(uid, head):
                graph.join(head, uid)
                batch.append(uid)
                break
        else:
            batches[uid] = [uid]
    return [tuple(batch) for batch in batches.values()]


def _merged(before: Mapping[str, Sequence[str]], home: Mapping[str, str]) -> dict[str, set[str]]:
    """The graph with each batch as one node; a batch that waits for itself keeps that wait, as a circle."""
    merged: dict[str, set[str]] = {}
    for uid, preds in before.items():
        merged.setdefault(home[uid], set()).update(home[pred] for pred in preds)
    return merged


@variant("setups_1", "load / capacity of the place, rounded up, at least one")
def set_ups(*, load: Decimal, capacity: Decimal) -> Decimal:
    """Number of set-ups a batch of ``load`` needs at a place of ``capacity`` [same unit]; none for nothing.

    >>> [set_ups(load=Decimal(q), capacity=Decimal(10)) for q in (0, 1, 10, 11)]
    [Decimal('0'), Decimal('1'), Decimal('1'), Decimal('2')]
    """
    if not load:
        return Decimal(0)
    if not capacity:
        return Decimal(1)
    return (load / capacity).to_integral_value(ROUND_CEILING)
