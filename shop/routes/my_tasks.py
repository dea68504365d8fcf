"""Tasks as somebody at the bench reads them: what is next, what it is of, and what it waits for.

The order protects promises. First what can be begun; of that, what stands before the nearest day something must leave for a
vendor, or else before the day by which it must begin at the latest; of one day, what has less slack; then what has its place
free. What has no plan comes after what has one.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import F, Prefetch, Q, QuerySet
from django.utils import timezone

from shop.people.models import User
from shop.restorations.models import Restoration
from shop.routes.graph import Graph
from shop.routes.models import PlannedStep, Remedy, Step, Task, TaskStep
from shop.routes.presence import OnTasks, on_tasks
from shop.routes.progress import Look, States, StepState, look
from shop.routes.splits import origin_step
from shop.routes.standard import NONE, Standard, standard_minutes

FAR = date.max
#: What is for somebody who stands at the counter, or comes back: as urgent as the day it came.
CAME_IN = (Task.Kind.WALK_IN, Task.Kind.COMEBACK)


@dataclass(frozen=True, slots=True)
class Line:
    """A step in a task, on its present visit; ``standard`` is None where nobody said how long it takes."""

    row: TaskStep
    state: StepState
    standard: Standard | None
    must: date | None
    slack: int | None

    @property
    def step(self) -> Step:
        return self.state.step

    @property
    def seen(self) -> str:
        """The line with the task it is seen in, as a form sends it back."""
        return f"{self.row.pk}:{self.row.task_id}"


@dataclass(frozen=True, slots=True)
class TaskCard:
    """A task with its ``lines`` still to do, those done on the present visit, and what else has to come off first.

    ``must`` is the day by which it must be done, or begun, for what was promised; ``place_taken`` that somebody is at its
    place with another task, ``taken_by`` somebody else who is on it where only one can be. ``on`` are those on it now.
    """

    task: Task
    lines: tuple[Line, ...]
    done: tuple[Line, ...]
    remedies: tuple[Remedy, ...]
    bikes: tuple[Restoration, ...]
    must: date | None
    slack: int | None
    place_taken: bool
    taken: bool
    on: frozenset[int]

    @property
    def ready(self) -> tuple[Line, ...]:
        """What of it can be begun."""
        return tuple(line for line in self.lines if line.state.is_ready)

    @property
    def is_ready(self) -> bool:
        """Whether something of it can be begun; work without steps always can."""
        return bool(self.ready or any(one.done_at is None for one in self.remedies) or not self.lines)

    @property
    def came_in(self) -> bool:
        """Whether ``must`` is the day it came in at the door, by which nothing was promised."""
        return self.task.kind in CAME_IN

    @property
    def waits_for(self) -> tuple[str, ...]:
        """What all of it waits for, each thing once; nothing while something can be begun."""
        if self.is_ready:
            return ()
        told = dict.fromkeys(said for line in self.lines for said in line.state.at_the_bench)
        return tuple(told)

    @property
    def begin_by(self) -> datetime | None:
        """By when the first of its steps must have begun, where one must not lie about for long."""
        return min((line.state.begin_by for line in self.lines if line.state.begin_by), default=None)

    @property
    def exceeded(self) -> bool:
        return any(line.state.exceeded for line in self.lines)

    @property
    def standard(self) -> Standard:
        """The standard times of what is still to do, each step by itself [min]."""
        known = [line.standard for line in self.lines if line.standard is not None]
        return Standard(sum((one.setup for one in known), NONE), sum((one.run for one in known), NONE))


def task_cards(*, now: datetime, person: User | None = None, restoration: Restoration | None = None) -> list[TaskCard]:
    """The open tasks with something to do, in the order above, in a constant number of queries.

    A place or a task that only ``person`` is on counts as free for them. Only those of ``restoration`` where it is given.
    Tasks for no bike are not among them: see `indirect_tasks`.
    """
    return cards_and_look(now=now, person=person.pk if person else None, restoration=restoration)[0]


@dataclass(frozen=True, slots=True)
class Looked:
    """How the steps of the bikes with such tasks stand, and their planned days."""

    states: States
    planned: Mapping[int, PlannedStep]


def cards_and_look(
    *, now: datetime, person: int | None = None, restoration: Restoration | None = None
) -> tuple[list[TaskCard], Looked]:
    """`task_cards` with what they were made from, for who shows both: the look takes longer than the cards."""
    tasks = _open_tasks()
    if restoration is not None:
        own = TaskStep.objects.filter(step__part__restoration=restoration).values("task")
        tasks = tasks.filter(Q(restoration=restoration) | Q(pk__in=own))
    cards, desk = _cards(list(tasks), now=now, person=person)
    in_order = sorted((card for card in cards if _is_open(card)), key=_order)
    return in_order, Looked(desk.look.states, desk.planned)


def task_card(task: Task, *, now: datetime) -> TaskCard:
    """One task, open or closed."""
    return _cards(list(_with_lines(Task.objects.filter(pk=task.pk))), now=now, person=None)[0][0]


def indirect_tasks() -> QuerySet[Task]:
    """What is for no bike: it stands always, until somebody closes it."""
    return Task.objects.filter(kind=Task.Kind.INDIRECT, closed_at__isnull=True).order_by("name")


def _open_tasks() -> QuerySet[Task]:
    return _with_lines(Task.objects.filter(closed_at__isnull=True).exclude(kind=Task.Kind.INDIRECT))


def _with_lines(tasks: QuerySet[Task]) -> QuerySet[Task]:
    present = TaskStep.objects.filter(visit=F("step__visit")).annotate(bike=F("step__part__restoration"))
    lines = present.order_by("step__part__position", "step__position", "pk")
    remedies = Remedy.objects.select_related("operation", "service").order_by("position")
    with_rows = Prefetch("lines", lines, to_attr="present"), Prefetch("remedies", remedies, to_attr="first")
    return tasks.select_related("place", "grade", "restoration__machine").prefetch_related(*with_rows)


def _is_open(card: TaskCard) -> bool:
    if card.lines or any(one.done_at is None for one in card.remedies):
        return True
    return card.task.kind in CAME_IN and not card.done


def _order(card: TaskCard) -> tuple[object, ...]:
    busy = card.place_taken or card.taken
    slack = card.slack if card.slack is not None else -1
    return not card.is_ready, card.must or FAR, slack, busy, card.task.name, card.task.pk


class _Desk:
    """What cards are made from, read once."""

    def __init__(self, tasks: Sequence[Task], now: datetime, person: int | None) -> None:
        self.today = timezone.localdate(now)
        self.person = person
        rows = [row for task in tasks for row in task.present]  # type: ignore[attr-defined]
        bikes = {row.bike for row in rows} | {task.restoration_id for task in tasks if task.restoration_id}
        self.look: Look = look(bikes, now=now)
        steps = self.look.graph.steps
        self.standard = standard_minutes([steps[row.step_id] for row in rows if row.step_id in steps], on=self.today)
        self.planned = _planned(bikes)
        self.must = _must(self.look.graph, self.planned)
        self.on: OnTasks = on_tasks()
        self.places = _places(self.on)

    def line(self, row: TaskStep) -> Line | None:
        state = self.look.states.get(row.step_id)
        if state is None:
            return None
        planned = self.planned.get(origin_step(state.step))
        slack = planned.slack if planned else None
        return Line(row, state, self.standard.get(row.step_id), self.must.get(row.step_id), slack)


def _cards(tasks: Sequence[Task], *, now: datetime, person: int | None) -> tuple[list[TaskCard], "_Desk"]:
    desk = _Desk(tasks, now, person)
    return [_card(task, desk) for task in tasks], desk


def _card(task: Task, desk: _Desk) -> TaskCard:
    rows = [desk.line(row) for row in task.present]  # type: ignore[attr-defined]
    found = [line for line in rows if line is not None]
    lines = tuple(line for line in found if not line.state.is_done)
    bikes = {line.step.part.restoration_id: line.step.part.restoration for line in found}
    if not bikes and task.restoration is not None:
        bikes = {task.restoration.pk: task.restoration}
    on = frozenset(desk.on.get(task.pk, ()))
    return TaskCard(
        task=task,
        lines=lines,
        done=tuple(line for line in found if line.state.is_done),
        remedies=tuple(task.first),  # type: ignore[attr-defined]
        bikes=tuple(bikes.values()),
        must=_earliest(task, lines),
        slack=min((line.slack for line in _counting(lines) if line.slack is not None), default=None),
        place_taken=task.place_id is not None
        and bool(desk.places.get(task.place_id, {}).keys() - {task.pk, *_own(desk)}),
        taken=task.alone and bool(on - {desk.person}),
        on=on,
    )


def _own(desk: _Desk) -> Iterable[int]:
    """The tasks that only the person who looks is on."""
    return (task for task, people in desk.on.items() if set(people) == {desk.person})


def _counting(lines: Collection[Line]) -> Collection[Line]:
    """What can be begun sets the order; where nothing can, all of it."""
    return [line for line in lines if line.state.is_ready] or lines


def _earliest(task: Task, lines: Collection[Line]) -> date | None:
    if task.kind in CAME_IN:
        return timezone.localdate(task.made_at)
    return min((line.must for line in _counting(lines) if line.must), default=None)


def _planned(bikes: Collection[int]) -> dict[int, PlannedStep]:
    """Planned days by step; those of a step hold for its copies."""
    rows = PlannedStep.objects.filter(plan__in=bikes).only("step_id", "slack", "latest_start", "leave_by")
    return {row.step_id: row for row in rows}


def _must(graph: Graph, planned: Mapping[int, PlannedStep]) -> dict[int, date]:
    """Step to the day on which the next vendor work behind it must leave; else the day by which it must begin itself."""
    after = graph.after()
    leaves: dict[int, date | None] = {}
    for pk in reversed(graph.in_order()):
        days = (
            _leaves(graph.steps[one], planned) or leaves.get(one) for one in after.get(pk, ()) if not graph.is_past(one)
        )
        leaves[pk] = min((day for day in days if day), default=None)
    found = {}
    for pk, step in graph.steps.items():
        own = planned.get(origin_step(step))
        day = leaves.get(pk) or (timezone.localdate(own.latest_start) if own else None)
        if day is not None:
            found[pk] = day
    return found


def _leaves(step: Step, planned: Mapping[int, PlannedStep]) -> date | None:
    own = planned.get(origin_step(step)) if step.service_id else None
    return own.leave_by if own else None


def _places(on: OnTasks) -> dict[int, dict[int, Collection[int]]]:
    """Place to the tasks that are done at it now, and by whom."""
    found: dict[int, dict[int, Collection[int]]] = {}
    for task, place in Task.objects.filter(pk__in=on, place__isnull=False).values_list("pk", "place"):
        found.setdefault(place, {})[task] = on[task]
    return found
