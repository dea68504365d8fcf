"""What comes before what on the way through the workshop, for any number of restorations in a constant number of queries.

Unlike `selectors.scope`, which reads what was agreed, parts that were split are read one by one here: a step that waits for
a step of a part that was split waits for all its pieces, so for the step and all its copies.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import F, Q

from shop.methods.models import Operation, Service
from shop.restorations.models import Part
from shop.routes.models import Authorisation, Away, Done, Step, Wait
from shop.routes.splits import LIVE_PART, LIVE_STEP, copies, origin, origin_step


@dataclass(slots=True)
class Graph:
    """Parts in scope with the steps on their routes in order, as rows; what each step comes after directly; what is done.

    ``aways`` are by step: where it is, or where it has been on its present visit.
    """

    parts: dict[int, Part]
    routes: dict[int, list[Step]]
    steps: dict[int, Step]
    before: dict[int, tuple[int, ...]] = field(default_factory=dict)
    dones: dict[int, Done] = field(default_factory=dict)
    aways: dict[int, Away] = field(default_factory=dict)
    authorised: set[int] = field(default_factory=set)

    def is_past(self, pk: int) -> bool:
        """Whether nothing is left to do: it is done on its present visit, or there is nothing to it."""
        return pk in self.dones or not has_work(self.steps[pk])

    def is_out(self, pk: int) -> bool:
        """Whether it is at a vendor or on order."""
        return pk in self.aways and self.aways[pk].ended_on is None

    def open_before(self) -> dict[int, tuple[int, ...]]:
        """Step to the open steps that must be done first: the nearest ones, looking back through what is done.

        What belongs to strip and inspect does not wait for what nobody has agreed to yet: it comes before the offer.
        """
        nearest: dict[int, tuple[int, ...]] = {}
        for pk in self.in_order():
            nearest[pk] = self._nearest(pk, nearest)
        return nearest

    def _nearest(self, pk: int, nearest: Mapping[int, tuple[int, ...]]) -> tuple[int, ...]:
        operation = self.steps[pk].operation
        passes_by = operation is not None and operation.inspects
        found: dict[int, None] = {}
        todo, seen = list(reversed(self.before[pk])), set()
        while todo:
            one = todo.pop()
            if one in seen:
                continue
            seen.add(one)
            if passes_by and one not in self.authorised:
                todo.extend(reversed(self.before[one]))
            elif not self.is_past(one) or one not in nearest:  # one not reached yet is part of a circle
                found[one] = None
            else:
                todo.extend(reversed(nearest[one]))
        return tuple(found)

    def in_order(self) -> list[int]:
        """The steps, each after all that comes before it; those of a circle, which the services refuse, at the end."""
        waiting = {pk: len(set(before)) for pk, before in self.before.items()}
        after = self.after()
        free = [pk for pk, count in waiting.items() if not count]
        order: list[int] = []
        while free:
            order.append(pk := free.pop())
            for follower in after.get(pk, ()):
                waiting[follower] -= 1
                if not waiting[follower]:
                    free.append(follower)
        return order + [pk for pk, count in waiting.items() if count > 0]

    def after(self) -> dict[int, list[int]]:
        """Step to what comes after it directly."""
        found: dict[int, list[int]] = defaultdict(list)
        for pk, before in self.before.items():
            for one in set(before):
                found[one].append(pk)
        return found

    def one_before(self, step: Step) -> Step | None:
        """The step before it on its own part's route."""
        route = self.routes[step.part_id]
        place = next((index for index, one in enumerate(route) if one.pk == step.pk), 0)
        return route[place - 1] if place else None

    def turns(self) -> dict[int, int]:
        """Step to how many times its work has come up on its part's route so far, itself included."""
        found: dict[int, int] = {}
        for route in self.routes.values():
            seen: dict[tuple[int | None, int | None], int] = {}
            for step in route:
                work = step.operation_id, step.service_id
                found[step.pk] = seen[work] = seen.get(work, 0) + 1
        return found


def has_work(step: Step) -> bool:
    """Whether there is anything to be done: no pieces, or a quantity of zero, is no work."""
    return bool(step.part.pieces) and (step.quantity is None or step.quantity > 0)


def graph(restorations: Collection[int]) -> Graph:
    """Everything on a route of these restorations, in ten queries."""
    known = Part.objects.select_related("restoration__machine", "kind", "agreed_finish", "size_class")
    parts = {part.pk: part for part in known.filter(LIVE_PART, restoration__in=restorations).order_by("position", "pk")}
    steps = list(Step.objects.filter(LIVE_STEP, part__in=parts).order_by("part", "position", "pk"))
    _with_relations(steps, parts)
    routes: dict[int, list[Step]] = {pk: [] for pk in parts}
    for step in steps:
        routes[step.part_id].append(step)
    found = Graph(parts, routes, {step.pk: step for step in steps})
    _read_before(found)
    present = Done.objects.filter(step__in=found.steps, visit=F("step__visit"), undone_at__isnull=True)
    found.dones = {done.step_id: done for done in present}
    aways = Away.objects.filter(Q(ended_on__isnull=True) | Q(visit=F("step__visit")), step__in=found.steps)
    found.aways = {away.step_id: away for away in aways.order_by(F("ended_on").asc(nulls_last=True), "pk")}
    uids = {step.uid: step.pk for step in steps}
    own = Step.objects.filter(part__in=parts).values("uid")
    agreed = Authorisation.objects.filter(step_uid__in=own).values_list("step_uid", flat=True)
    found.authorised = {uids[uid] for uid in agreed if uid in uids}
    return found


def _with_relations(steps: Sequence[Step], parts: Mapping[int, Part]) -> None:
    """Hang parts and works on the steps, each read once."""
    operations = Operation.objects.select_related("place", "grade").in_bulk({step.operation_id for step in steps})
    services = Service.objects.select_related("vendor").in_bulk({step.service_id for step in steps})
    for step in steps:
        step._state.fields_cache["part"] = parts[step.part_id]
        step._state.fields_cache["operation"] = operations.get(step.operation_id)
        step._state.fields_cache["service"] = services.get(step.service_id)


def _read_before(found: Graph) -> None:
    waits = _Waits(found)
    for route in found.routes.values():
        previous: tuple[int, ...] = ()
        for step in route:
            found.before[step.pk] = (*previous, *(pk for pk in waits.of(step) if pk not in previous))
            previous = (step.pk,)


class _Waits:
    """What steps wait for besides the one before them, as it stands: a removed step is read as the one before it."""

    def __init__(self, found: Graph) -> None:
        self.found = found
        self.copies = copies(found.steps.values())
        self.awaited: dict[int, list[int]] = defaultdict(list)
        origins = {origin_step(step) for step in found.steps.values()}
        for step, on in Wait.objects.filter(step__part__in=found.parts).order_by("pk").values_list("step", "on"):
            if step in origins:
                self.awaited[step].append(on)
        named = {on for ons in self.awaited.values() for on in ons}
        rows = Step.objects.filter(Q(part__in=found.parts), removed_at__isnull=False, pk__in=named)
        self.gone = {pk: (part, place) for pk, part, place in rows.values_list("pk", "part", "position")}

    def of(self, step: Step) -> list[int]:
        found: dict[int, None] = {}
        for on in self.awaited.get(origin_step(step), ()):
            awaited = self._standing(on)
            if awaited is not None:
                found |= dict.fromkeys(one.pk for one in self._meant(step, awaited))
        found.pop(step.pk, None)
        return list(found)

    def _standing(self, pk: int) -> Step | None:
        if pk in self.found.steps:
            return self.found.steps[pk]
        part, position = self.gone.get(pk, (0, 0))
        route = self.found.routes.get(part, [])
        return next((step for step in reversed(route) if step.position < position), None)

    def _meant(self, step: Step, awaited: Step) -> list[Step]:
        """All pieces of another part; of its own, only those that are with it."""
        all_of_it = [awaited, *self.copies.get(awaited.pk, ())]
        if origin(step.part) == origin(awaited.part):
            return [one for one in all_of_it if one.part_id == step.part_id]
        return all_of_it
