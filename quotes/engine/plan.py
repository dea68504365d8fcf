"""The ready day: what can be done when, what decides it, and by when each thing must leave the shop.

The plan is first pass only, at expected times, of what is not done yet; what is out or on order is waited for. A bike
is ready on the first working day of the shop on which the longest way through the merged graph has ended, and on which
all the work could have been done by the hands and at the places there are, beside the load of others before it. Local
time of the shop, in whole minutes.

Source: forward and backward pass of the critical path method; maximum lags as in the metra potential method.
"""

from collections.abc import Iterator, Sequence

from quotes.engine.calendars import DAY, WorkingTime, check_known, day_of, day_text, held_days, instant_text
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Restoration, Schedule
from quotes.engine.network import Kind, Limit, Network, Node, network, whole
from quotes.engine.passes import Early, Late, Times, back_on, early_pass, late_pass
from quotes.engine.planned import Bound, Floor, Lot, Order, Plan, PlannedStep, SetBy
from quotes.engine.results import Remark, StepResult

#: A whole pair of hands.
WHOLE = 10_000
NOT_HONOURED = (
    "What follows must begin within {limit} min of it. With these working hours and these waits that is not possible, and "
    "the plan lets it wait longer. Change the hours or the order of work, or choose a way that can wait."
)


def plan(restoration: Restoration, steps: Sequence[StepResult], batches: Sequence[tuple[str, ...]]) -> Plan:
    """The plan of ``restoration`` as it was priced: its ``steps`` and ``batches``.

    Raises `BadInput` for a schedule that cannot be worked by, and where holidays are not known until the ready day.
    """
    graph = network(restoration, steps, batches)
    schedule = schedule_of(restoration)
    times = times_of(schedule, graph)
    start = start_of(schedule, times)
    early = early_pass(graph, times, start)
    path = max(early.finish, default=start)
    floors = tuple(floors_of(graph, schedule, times, start))
    end = max([path, *[until for _, until in floors]])
    ready = times.bike.day_at(end)
    for working in (times.shop, *times.vendors.values()):
        check_known(working.calendar, ready)
    late = late_pass(graph, times, early, times.bike.closing(ready))
    binding = next((floor for floor, until in floors if until == end > path), None)
    teller = _Teller(restoration, graph, times, early, late)
    return Plan(
        starts=instant_text(start),
        ready=day_text(ready),
        path_ends=instant_text(path),
        bound=binding.bound if binding else Bound.PATH,
        place=binding.place if binding else "",
        steps=tuple(teller.steps()),
        chain=tuple(teller.chain()),
        lots=tuple(teller.lots()),
        orders=tuple(teller.orders()),
        floors=tuple(floor for floor, _ in floors),
        remarks=tuple(teller.remarks()),
    )


def schedule_of(restoration: Restoration) -> Schedule:
    """Its schedule, or `BadInput` where there is none or makes no sense."""
    schedule = restoration.schedule
    if schedule is None:
        raise BadInput("There is no day yet on which the work may begin. Give one.", field="schedule")
    if schedule.hands < 0:
        raise BadInput("The number of hands is negative. Give 0 for as many as are needed, or more.", field="hands")
    if not 0 < schedule.productive <= 1:
        raise BadInput("The productive share of the hours must be more than 0 % and at most 100 %.", field="productive")
    if any(minutes < 0 for _, minutes in schedule.load):
        raise BadInput("The load of other work is negative. Give 0 or more minutes.", field="load")
    return schedule


def times_of(schedule: Schedule, graph: Network) -> Times:
    """The calendars that ``graph`` needs, from the day the work may begin on."""
    first = day_of(schedule.starts_on, field="starts_on")
    known = {calendar.key: calendar for calendar in schedule.calendars}
    needed = {""} | {node.calendar for node in graph.nodes if node.kind is Kind.LOT}
    for key in sorted(needed - known.keys()):
        raise BadInput("There is no calendar “{calendar}”. Add it, or choose another.", field="calendar", calendar=key)
    working = {key: WorkingTime(known[key], first) for key in sorted(needed)}
    held = held_days(schedule.held)
    bike = WorkingTime(known[""], first, held) if held else working[""]
    return Times(working[""], bike, working)


def start_of(schedule: Schedule, times: Times) -> int:
    """The first instant at which somebody may work on the bike."""
    return times.bike.opening(day_of(schedule.starts_on) * DAY)


def floors_of(graph: Network, schedule: Schedule, times: Times, start: int) -> Iterator[tuple[Floor, int]]:
    """What hands and places allow at the best, with the instants."""
    load = {place: whole(minutes) for place, minutes in schedule.load}
    own, share = sum(node.minutes for node in graph.nodes), share_of(schedule)
    if share and own:
        others = load.get("", 0)
        until = hands_until(times, start, divided(own, share), divided(own + others, share))
        yield Floor(Bound.HANDS, "", own, others, instant_text(until)), until
    for place in sorted({node.place for node in graph.nodes if node.place and node.taken}):
        here = [node for node in graph.nodes if node.place == place]
        attended, taken = sum(node.minutes for node in here), sum(node.taken for node in here)
        others = load.get(place, 0)
        until = place_until(times, start, attended, taken, others)
        yield Floor(Bound.PLACE, place, taken, others, instant_text(until)), until


def share_of(schedule: Schedule) -> int:
    """Ten thousandths of a pair of hands that are productive; 0 for as many as are needed."""
    return max(1, whole(schedule.hands * schedule.productive * WHOLE)) if schedule.hands else 0


def divided(minutes: int, share: int) -> int:
    """Minutes of the shop's hours that ``minutes`` of work take a ``share`` of hands, rounded up.

    >>> divided(600, 15_000)
    400
    """
    return -(-minutes * WHOLE // share)


def hands_until(times: Times, start: int, own: int, together: int) -> int:
    """Work on this bike stops while it is held, work on others does not."""
    return max(times.bike.add(start, own), times.shop.add(start, together))


def place_until(times: Times, start: int, attended: int, taken: int, load: int) -> int:
    """Attended work is done in hours; what only takes the place goes on at night."""
    return max(times.bike.add(start, attended), times.shop.add(start, attended + load), start + taken + load)


def _open_before(graph: Network) -> list[tuple[int, ...]]:
    """What each node waits for, looking back through what is done."""
    found: list[tuple[int, ...]] = []
    for preds in graph.before:
        near = ((found[pred] if graph.nodes[pred].done else (pred,)) for pred in preds)
        found.append(tuple(dict.fromkeys(one for some in near for one in some)))
    return found


class _Teller:
    """Says a plan in words and days."""

    def __init__(self, restoration: Restoration, graph: Network, times: Times, early: Early, late: Late) -> None:
        self.graph, self.times, self.early, self.late = graph, times, early, late
        self.services = {item.key: item for item in restoration.services}
        self.before = _open_before(graph)

    def steps(self) -> Iterator[PlannedStep]:
        """Every step by its uid."""
        told = [self._told(index) for index in range(len(self.graph.nodes))]
        for uid in sorted(self.graph.home):
            yield PlannedStep(uid, self.graph.members[uid][0].uid, *told[self.graph.home[uid]])

    def _told(self, index: int) -> tuple[str, str, str, str, int, SetBy, tuple[str, ...]]:
        early, late, worked = self.early, self.late, self.times.bike.worked
        return (
            instant_text(early.start[index]),
            instant_text(early.finish[index]),
            instant_text(late.start[index]),
            instant_text(late.finish[index]),
            worked(late.start[index]) - worked(early.start[index]),
            self._set_by(index),
            tuple(self.graph.nodes[driver].uid for driver in self._drivers(index)),
        )

    def _set_by(self, index: int) -> SetBy:
        ready, start = self.early.ready[index], self.early.start[index]
        if self._is_held_back(index):
            return SetBy.LATEST_WAIT
        if start > ready:
            if self.graph.nodes[index].back:
                return SetBy.BACK
            return SetBy.HELD if self.times.shop.opening(ready) < start else SetBy.CLOSED
        return SetBy.STEP if self.before[index] else SetBy.START

    def _is_held_back(self, index: int) -> bool:
        before = [self.early.finish[pred] for pred in self.before[index]]
        return self.early.held_for[index] >= 0 and self.early.ready[index] > max(before, default=0)

    def _drivers(self, index: int) -> list[int]:
        if self._is_held_back(index):
            return [self.early.held_for[index]]
        ready = self.early.ready[index]
        if self.graph.nodes[index].back and self.early.start[index] > ready:
            return []
        return [pred for pred in self.before[index] if self.early.finish[pred] == ready]

    def chain(self) -> list[str]:
        """From the last to end back to the start, then turned round."""
        index = max(range(len(self.graph.nodes)), key=lambda node: (self.early.finish[node], -node), default=-1)
        seen: list[int] = []
        while index >= 0:
            seen.append(index)
            further = self._drivers(index)
            if self._is_held_back(index):
                # What made the one late that must not wait; else what comes before it all the same.
                before = sorted(self.before[index], key=lambda pred: -self.early.finish[pred])
                further = [self.early.held_by[index], *before]
            index = next((driver for driver in further if driver >= 0 and driver not in seen), -1)
        nodes = [self.graph.nodes[index] for index in reversed(seen)]
        return [node.uid for node in nodes if not node.done]

    def lots(self) -> Iterator[Lot]:
        """What is out, the first to be back first; then what goes out, the first to leave first."""
        for node, comes, needed in self._out(Kind.LOT):
            service = self.services[self.graph.members[node.uid][1].ref]
            yield Lot(node.uids, service.key, service.vendor, "", comes, "", needed)
        for leaves, must, index in sorted(self._away(Kind.LOT)):
            node = self.graph.nodes[index]
            service = self.services[self.graph.members[node.uid][1].ref]
            back = [day_text(back_on(self.times, node, day)) for day in (leaves, must)]
            yield Lot(node.uids, service.key, service.vendor, day_text(leaves), back[0], day_text(must), back[1])

    def orders(self) -> Iterator[Order]:
        """What is on order; then what is to be ordered and does not come at once, the first to be ordered first."""
        for node, comes, needed in self._out(Kind.ORDER):
            yield Order(node.uid, self.graph.members[node.uid][1].ref, "", comes, "", needed)
        for ordered, by, index in sorted(self._away(Kind.ORDER)):
            node = self.graph.nodes[index]
            there = [day_text(self.times.shop.after(day, node.lead)) for day in (ordered, by)]
            ref = self.graph.members[node.uid][1].ref
            yield Order(node.uid, ref, day_text(ordered), there[0], day_text(by), there[1])

    def _out(self, kind: Kind) -> Iterator[tuple[Node, str, str]]:
        """What is out or on order, with the days on which it is back and by which it must be."""
        shop = self.times.shop
        found = [(index, node) for index, node in enumerate(self.graph.nodes) if node.kind is kind and node.back]
        for index, node in sorted(found, key=lambda item: (self.early.finish[item[0]], item[0])):
            if node.working:
                yield node, day_text(shop.comes_on(node.back)), day_text(shop.closed_by(self.late.finish[index]))

    def _away(self, kind: Kind) -> Iterator[tuple[int, int, int]]:
        """The days on which it goes out at the earliest and at the latest."""
        bike = self.times.bike
        for index, node in enumerate(self.graph.nodes):
            if node.kind is kind and node.working and not node.back and (kind is Kind.LOT or node.lead):
                done = [bike.add(at[index], node.minutes) for at in (self.early.ready, self.late.start)]
                yield bike.day_at(done[0]), bike.day_at(done[1]), index

    def remarks(self) -> Iterator[Remark]:
        """What cannot be honoured, for every part it befalls."""
        for limit in self.early.dropped:
            for part, step in self._befallen(limit):
                yield Remark(False, part, step, NOT_HONOURED, (("limit", str(limit.most)),))

    def _befallen(self, limit: Limit) -> Iterator[tuple[str, str]]:
        members, home = self.graph.members, self.graph.home
        for uid in self.graph.nodes[limit.leader].uids:
            part, step = members[uid]
            at = part.steps.index(step)
            if part.pieces and home[part.steps[min(at + 1, len(part.steps) - 1)].uid] == limit.follower:
                yield part.name, step.name
