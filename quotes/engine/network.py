"""The merged graph of a restoration with the time each node takes: a batch or lot is one node, a step alone another."""

import heapq
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from enum import StrEnum
from itertools import pairwise

from quotes.engine.batches import set_ups
from quotes.engine.calendars import day_of
from quotes.engine.errors import BadInput
from quotes.engine.graph import waits
from quotes.engine.inputs import ONE, ZERO, Measure, Operation, Part, Purchase, Restoration, Service, Step, Work
from quotes.engine.results import StepResult
from quotes.engine.visits import extent

Member = tuple[Part, Step]


class Kind(StrEnum):
    """How a node takes its time: hands and then the clock; away at a vendor; on order."""

    LABOUR = "labour"
    LOT = "lot"
    ORDER = "order"


@dataclass(frozen=True, slots=True)
class Node:
    """A batch, and what it takes.

    ``minutes`` attended, then ``elapsed`` on the clock; or away ``lead`` working days of the ``calendar`` and
    ``transport`` days of the shop's each way; or ``lead`` days of the shop's on order. Its ``place`` is taken for
    ``taken`` minutes, hands or not. ``working`` is false where there is nothing to be done. What must be followed up in
    time is done ``together``, not left half done at closing time, where a day is long enough for it. What is ``done`` takes
    nothing any more; what is out or on order only has to come back, told for the day ``back`` (0: it is not out).
    """

    uids: tuple[str, ...]
    kind: Kind
    working: bool
    minutes: int
    elapsed: int = 0
    lead: int = 0
    transport: int = 0
    calendar: str = ""
    place: str = ""
    taken: int = 0
    together: bool = False
    done: bool = False
    back: int = 0

    @property
    def is_settled(self) -> bool:
        """Whether nobody has to begin it any more."""
        return self.done or bool(self.back)

    @property
    def uid(self) -> str:
        """What it goes by: its first step."""
        return self.uids[0]

    @property
    def taken_only(self) -> int:
        """Minutes for which its place is taken without hands."""
        return max(0, self.taken - self.minutes)


@dataclass(frozen=True, slots=True)
class Limit:
    """The node ``follower`` begins at most ``most`` minutes after the node ``leader`` has ended."""

    leader: int
    follower: int
    most: int


@dataclass(frozen=True, slots=True)
class Network:
    """Nodes in an order of work; ``before`` and ``after`` by index; latest waits; step uid to the index of its node."""

    nodes: tuple[Node, ...]
    before: tuple[tuple[int, ...], ...]
    after: tuple[tuple[int, ...], ...]
    limits: tuple[Limit, ...]
    home: dict[str, int]
    waits: dict[str, tuple[str, ...]]
    members: dict[str, Member]


def network(restoration: Restoration, steps: Sequence[StepResult], batches: Sequence[tuple[str, ...]]) -> Network:
    """The merged graph of ``restoration`` as it was priced: its ``steps`` and ``batches``. Raises `BadInput`.

    What its schedule says is settled leaves its batch: the rest of the batch goes on with its own minutes.
    """
    catalogue = _Catalogue(restoration)
    settled = _settled(restoration)
    members = {step.uid: (part, step) for part in restoration.parts for step in part.steps}
    minutes = {step.uid: step.first.minutes for step in steps}
    before_step = waits(restoration.parts)
    sorted_batches = sorted(tuple(sorted(part)) for batch in batches for part in _apart(batch, settled))
    head = {uid: batch[0] for batch in sorted_batches for uid in batch}
    merged: dict[str, set[str]] = {batch[0]: set() for batch in sorted_batches}
    for uid, preds in before_step.items():
        merged[head[uid]].update(head[pred] for pred in preds)
    order = _in_order(merged)
    at = {uid: index for index, uid in enumerate(order)}
    by_head = {batch[0]: batch for batch in sorted_batches}
    before = tuple(tuple(sorted(at[pred] for pred in merged[uid])) for uid in order)
    after: list[list[int]] = [[] for _ in order]
    for index, waited_for in enumerate(before):
        for earlier in waited_for:
            after[earlier].append(index)
    home = {uid: at[first] for uid, first in head.items()}
    limits = _limits(restoration.parts, catalogue.operations, home, settled)
    leaders = {limit.leader for limit in limits}
    nodes = tuple(
        catalogue.settled(by_head[uid], members, settled[uid])
        if uid in settled
        else catalogue.node(by_head[uid], members, minutes, at[uid] in leaders)
        for uid in order
    )
    return Network(nodes, before, tuple(map(tuple, after)), limits, home, before_step, members)


def _settled(restoration: Restoration) -> dict[str, int]:
    """Step uid to the day on which it is told to be back; 0 where it is done."""
    given = restoration.schedule.settled if restoration.schedule else ()
    return {one.step: day_of(one.back, field="settled") if one.back else 0 for one in given}


def _apart(batch: Sequence[str], settled: Mapping[str, int]) -> Iterator[list[str]]:
    """``batch`` without what is settled; each done step by itself, and what is back on the same day together.

    No member waits for another, so that this closes no circle.
    """
    apart: dict[tuple[str, int], list[str]] = {}
    for uid in batch:
        day = settled.get(uid, -1)
        apart.setdefault(("" if day else uid, day), []).append(uid)
    yield from apart.values()


def _in_order(before: Mapping[str, set[str]]) -> list[str]:
    """The nodes, each after those it waits for; of those that could come next, the first by its uid."""
    waiting = {node: len(preds) for node, preds in before.items()}
    after: dict[str, list[str]] = {node: [] for node in before}
    for node, preds in before.items():
        for pred in preds:
            after[pred].append(node)
    free = [node for node, count in waiting.items() if not count]
    heapq.heapify(free)
    order: list[str] = []
    while free:
        order.append(node := heapq.heappop(free))
        for follower in after[node]:
            waiting[follower] -= 1
            if not waiting[follower]:
                heapq.heappush(free, follower)
    if len(order) != len(before):
        raise ValueError("the batches close a circle of waits")
    return order


def _limits(
    parts: Sequence[Part], operations: Mapping[str, Operation], home: Mapping[str, int], settled: Mapping[str, int]
) -> tuple[Limit, ...]:
    """The latest waits. They bind the next step on the part's own route: it is the part that must not lie about.

    Of two steps of which one is settled neither can be put off any more for the sake of the other.
    """
    found: dict[tuple[int, int], int] = {}
    for part in parts:
        for step, follower in pairwise(part.steps):
            limit = operations[step.ref].latest_wait if step.work is Work.OPERATION else None
            if limit is None or not has_work(part, step) or step.uid in settled or follower.uid in settled:
                continue
            key = (home[step.uid], home[follower.uid])
            most = int(limit.to_integral_value(ROUND_FLOOR))
            found[key] = min(most, found.get(key, most))
    return tuple(Limit(leader, follower, most) for (leader, follower), most in sorted(found.items()))


def has_work(part: Part, step: Step) -> bool:
    """Whether there is anything to be done: no pieces or a quantity of zero are no work."""
    return bool(part.pieces) and (step.quantity is None or step.quantity > 0)


def whole(minutes: Decimal) -> int:
    """To the whole minute, half up."""
    return int(minutes.to_integral_value(ROUND_HALF_UP))


def loads(operation: Operation, members: Sequence[Member]) -> int:
    """How often the ``members`` of a batch fill its place."""
    load = ONE
    if operation.capacity and operation.capacity_by is not Measure.BATCH:
        sizes = [extent(part, step, operation.capacity_by, operation.measure) for part, step in members]
        load = sum(sizes, ZERO) or operation.capacity
    return int(set_ups(load=load, capacity=operation.capacity))


class _Catalogue:
    """What the work of a restoration takes, by key."""

    def __init__(self, restoration: Restoration) -> None:
        self.operations = {item.key: item for item in restoration.operations}
        self.services = {item.key: item for item in restoration.services}
        self.purchases = {item.key: item for item in restoration.purchases}
        for operation in self.operations.values():
            if operation.latest_wait is not None and operation.latest_wait < 0:
                raise BadInput(
                    "The latest wait is negative. Give 0 or more minutes, or none.",
                    step=operation.name,
                    field="latest_wait",
                )
        bought: list[Service | Purchase] = [*self.services.values(), *self.purchases.values()]
        for item in bought:
            if item.lead_days < 0:
                raise BadInput("The lead time is negative. Give 0 or more days.", step=item.name, field="lead_days")
        for service in self.services.values():
            if service.transport_days < 0:
                raise BadInput(
                    "The time on the road is negative. Give 0 or more days.", step=service.name, field="transport_days"
                )

    def node(
        self, uids: tuple[str, ...], members: Mapping[str, Member], minutes: Mapping[str, Decimal], leads: bool
    ) -> Node:
        """The node of the batch ``uids``; ``leads`` says that a latest wait follows it."""
        active = [members[uid] for uid in uids if has_work(*members[uid])]
        attended = whole(sum((minutes[uid] for uid in uids), ZERO))
        step = members[uids[0]][1]
        if step.work is Work.SERVICE:
            service = self.services[step.ref]
            return Node(
                uids,
                Kind.LOT,
                bool(active),
                attended,
                lead=service.lead_days,
                transport=service.transport_days,
                calendar=service.calendar,
            )
        if step.work is Work.PURCHASE:
            return Node(uids, Kind.ORDER, bool(active), attended, lead=self.purchases[step.ref].lead_days)
        return self._labour(uids, self.operations[step.ref], active, attended, leads)

    @staticmethod
    def settled(uids: tuple[str, ...], members: Mapping[str, Member], back: int) -> Node:
        """The node of ``uids``, which are done, or ``back`` on that day."""
        kinds = {Work.OPERATION: Kind.LABOUR, Work.SERVICE: Kind.LOT, Work.PURCHASE: Kind.ORDER}
        working = bool(back) and any(has_work(*members[uid]) for uid in uids)
        return Node(uids, kinds[members[uids[0]][1].work], working, 0, done=not back, back=back)

    @staticmethod
    def _labour(
        uids: tuple[str, ...], operation: Operation, active: Sequence[Member], attended: int, leads: bool
    ) -> Node:
        """Loads of a place that stays occupied come one after the other; otherwise all of them pass their time at once."""
        count = loads(operation, active) if active and operation.occupies else int(bool(active))
        elapsed = whole(operation.elapsed * count)
        return Node(
            uids,
            Kind.LABOUR,
            bool(active),
            attended,
            elapsed=elapsed,
            place=operation.place,
            taken=attended + (elapsed if operation.occupies else 0),
            together=bool(active and attended and leads),
        )
