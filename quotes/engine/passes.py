"""Forward and backward pass over the merged graph, on calendars.

Every node turns the instant at which it could begin into the one at which it has ended, never earlier for a later
begin; the backward pass uses the generalised inverse of the same map, the latest begin whose end is not after a given
instant. A latest wait is a maximum lag: going forward it delays the node before it, going backward the node behind it.
Both passes repeat from there until nothing moves, which finds the earliest and the latest of all plans that honour them.
"""

from dataclasses import dataclass, field

from quotes.engine.calendars import WorkingTime, there_and_back
from quotes.engine.network import Kind, Limit, Network, Node

#: After so many delays for one latest wait it is given up: the calendars repeat by the week, so it never fits.
TRIES = 60


@dataclass(frozen=True, slots=True)
class Times:
    """The calendars of a plan: the ``shop``'s, the same without the days the ``bike`` is held, those of vendors by key."""

    shop: WorkingTime
    bike: WorkingTime
    vendors: dict[str, WorkingTime]


@dataclass(slots=True)
class Early:
    """The earliest plan, by index of the node.

    ``ready`` is when it could begin, ``start`` when somebody does, ``finish`` when it has ended; ``release`` what
    latest waits hold it back to, for the sake of the node ``held_for``, which ``held_by`` made late (−1: closed hours).
    ``dropped`` cannot be honoured.
    """

    ready: list[int]
    start: list[int]
    finish: list[int]
    release: list[int]
    held_for: list[int]
    held_by: list[int]
    dropped: list[Limit] = field(default_factory=list)


@dataclass(slots=True)
class Late:
    """The latest plan, by index of the node: begin, end, and the instant by which it must have ended."""

    start: list[int]
    finish: list[int]
    allowed: list[int]


def forward(times: Times, node: Node, ready: int) -> int:
    """When ``node`` has ended that could begin at ``ready``.

    A lot leaves on the day its handling is done and is back, like what was ordered, in the course of its last day: what
    follows can count on it when that day closes. What is out already has ended then too; overdue, when the first day closes.
    """
    if not node.working:
        return ready
    if node.back:
        return max(ready, times.shop.closing(times.shop.comes_on(node.back)))
    done = times.bike.add(times.bike.together(ready, node.minutes) if node.together else ready, node.minutes)
    if node.kind is Kind.LABOUR:
        return done + node.elapsed
    if node.kind is Kind.ORDER:
        return times.shop.closing(times.shop.after(times.bike.day_at(done), node.lead)) if node.lead else done
    return times.shop.closing(back_on(times, node, times.bike.day_at(done)))


def back_on(times: Times, node: Node, day: int) -> int:
    """The day on which a lot is back that leaves on ``day``."""
    return there_and_back(times.shop, times.vendors[node.calendar], day, road=node.transport, lead=node.lead)


def left_until_back(times: Times, node: Node) -> int:
    """Working days of the shop's until what is out is back, the first one and the one on which it comes among them."""
    shop = times.shop
    return len(shop.days_until(shop.comes_on(node.back)))


def latest(times: Times, node: Node, finish: int) -> int:
    """The latest begin of ``node`` with which it has ended by ``finish``, which is never before the earliest plan's."""
    if not node.working or node.back:
        return finish
    if node.together:
        return times.bike.together_by(finish - node.elapsed, node.minutes)
    if node.kind is Kind.LABOUR:
        return times.bike.subtract(finish - node.elapsed, node.minutes)
    if node.kind is Kind.ORDER and not node.lead:
        return times.bike.subtract(finish, node.minutes)
    return times.bike.subtract(times.bike.closing(leaves_by(times, node, finish)), node.minutes)


def leaves_by(times: Times, node: Node, finish: int) -> int:
    """The last day to send a lot, or to order, so that it is there by ``finish``."""
    back = times.shop.closed_by(finish)
    if node.kind is Kind.ORDER:
        return times.shop.before(back, node.lead)
    there = times.vendors[node.calendar].before(times.shop.before(back, node.transport), node.lead)
    return times.shop.before(there, node.transport)


def begins(times: Times, node: Node, ready: int) -> int:
    """When somebody begins ``node`` that could begin at ``ready``; with what is out nobody does before it is back."""
    if node.back:
        return forward(times, node, ready)
    if node.together:
        return times.bike.together(ready, node.minutes)
    return times.bike.opening(ready) if node.minutes else ready


def ready_by(times: Times, node: Node, begin: int) -> int:
    """The latest instant at which ``node`` may be ready so that it is begun by ``begin``."""
    if node.together and node.minutes <= times.bike.longest:
        return times.bike.together_by(begin + node.minutes, node.minutes)
    return times.bike.begin_by(begin) if node.minutes else begin


def early_pass(network: Network, times: Times, start: int) -> Early:
    """The earliest plan from ``start`` on."""
    dropped: list[Limit] = []
    while True:
        plan, given_up = _early(network, times, start, dropped)
        if given_up is None:
            plan.dropped = dropped
            return plan
        dropped.append(given_up)


def _early(network: Network, times: Times, start: int, dropped: list[Limit]) -> tuple[Early, Limit | None]:
    count = len(network.nodes)
    plan = Early([start] * count, [start] * count, [start] * count, [start] * count, [-1] * count, [-1] * count)
    limits = _by_follower(network, dropped)
    tries: dict[Limit, int] = {}
    index = 0
    while index < count:
        node = network.nodes[index]
        ready = max([plan.release[index], *[plan.finish[pred] for pred in network.before[index]]])
        begin = begins(times, node, ready)
        broken = next((item for item in limits.get(index, ()) if begin > plan.finish[item.leader] + item.most), None)
        if broken is not None:
            tries[broken] = tries.get(broken, 0) + 1
            if tries[broken] > TRIES:
                return plan, broken
            leader = broken.leader
            # The earliest begin that does not end too early: the one after the latest that does.
            plan.release[leader] = latest(times, network.nodes[leader], begin - broken.most - 1) + 1
            plan.held_for[leader] = index
            last = max(network.before[index], key=lambda pred: plan.finish[pred])
            if plan.finish[last] > plan.finish[leader]:
                plan.held_by[leader] = last
            index = leader
            continue
        plan.ready[index], plan.start[index] = ready, begin
        plan.finish[index] = forward(times, node, ready)
        index += 1
    return plan, None


def _by_follower(network: Network, dropped: list[Limit]) -> dict[int, list[Limit]]:
    found: dict[int, list[Limit]] = {}
    for limit in network.limits:
        if limit not in dropped:
            found.setdefault(limit.follower, []).append(limit)
    return found


def late_pass(network: Network, times: Times, early: Early, end: int) -> Late:
    """The latest plan that has ended by ``end``; it honours the same latest waits as the ``early`` one."""
    count = len(network.nodes)
    plan = Late([end] * count, [end] * count, [end] * count)
    most: list[int] = [end] * count
    limits: dict[int, list[Limit]] = {}
    for limit in network.limits:
        if limit not in early.dropped:
            limits.setdefault(limit.leader, []).append(limit)
    tries: dict[Limit, int] = {}
    index = count - 1
    while index >= 0:
        node = network.nodes[index]
        plan.allowed[index] = min([end, *[plan.start[follower] for follower in network.after[index]]])
        plan.start[index] = min(latest(times, node, plan.allowed[index]), most[index])
        plan.finish[index] = forward(times, node, plan.start[index])
        index -= 1
        for limit in limits.get(index + 1, ()):
            follower, by = limit.follower, plan.finish[limit.leader] + limit.most
            if begins(times, network.nodes[follower], plan.start[follower]) > by:
                tries[limit] = tries.get(limit, 0) + 1
                if tries[limit] > TRIES + 1:
                    continue
                # The earliest plan honours it: what does not settle is begun as early.
                soonest = early.ready[follower]
                begin = ready_by(times, network.nodes[follower], by) if tries[limit] <= TRIES else soonest
                most[follower] = max(begin, soonest)
                index = follower
                break
    return plan
