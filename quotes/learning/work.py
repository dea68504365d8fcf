"""First-pass tasks that are finished, as learning takes them: standard minutes by operation, attended minutes by person.

Read in a constant number of queries, and in plain columns: ten years are a million clockings. A task is finished when
each of its steps is done or was sent back; what was done again is another task. Steps of one batch share its set-ups. The
standard is the one in force on a day, at the pace its grade is priced at and without the shop factor, which is what is learned.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import NamedTuple

from django.db import connection
from django.db.models import Case, Exists, F, FloatField, Func, IntegerField, OuterRef, Q, QuerySet, Value, When
from django.db.models.functions import Cast, Coalesce
from django.utils import timezone

from quotes.engine.attended import breaks_between
from quotes.engine.learning.factors import Piece, Task
from quotes.engine.learning.minutes import on_tasks
from shop.floor.models import Clocking, Rework
from shop.floor.selectors import pauses
from shop.methods.models import ConditionFactor, Measure, StandardTime
from shop.methods.selectors import standard_times
from shop.rates.selectors import grade_rates
from shop.routes.models import Done, TaskStep
from shop.routes.models import Task as TaskRow

FIRST = 1  # the first visit of a step


class Line(NamedTuple):
    """A step of a task in plain columns. ``sizes`` are by measure, those of its part; ``own`` is what the step says itself."""

    task: int
    bike: int | None
    operation: int
    condition: str
    own: float | None
    pieces: int
    area: float
    weight: float
    openings: int
    spokes: int
    step: int


@dataclass(frozen=True, slots=True)
class Measured:
    """What a line comes to: run minutes, set-ups if it stood alone, what it fills of its place; minutes of one set-up."""

    run: float
    load: float
    alone: float
    setup: float


class Standards:
    """Standard minutes on a day, in three queries."""

    def __init__(self, on: date) -> None:
        self.times = standard_times(on)
        self.factors = {(row.operation_id, row.condition): float(row.factor) for row in ConditionFactor.objects.all()}
        self.paces = {grade: float(rate.pace) for grade, rate in grade_rates(on).items()}
        self._plain = {
            pk: _Plain(time, self.paces.get(time.operation.grade_id, 1.0)) for pk, time in self.times.items()
        }

    def __contains__(self, operation: int) -> bool:
        return operation in self._plain

    def grade(self, operation: int) -> str:
        """The name by which learning knows the labour grade of an operation."""
        return str(self.times[operation].operation.grade.uid)

    def measured(self, line: Line) -> Measured:
        """What a line comes to, at the pace of its grade [min]; nothing where it says no hours or has no pieces."""
        plain = self._plain[line.operation]
        amount = _amount(line, plain.measure)
        if not amount:
            return Measured(0.0, 0.0, 0.0, plain.setup)
        run = plain.run * amount * self.factors.get((line.operation, line.condition), 1.0)
        load = _load(line, plain, amount)
        return Measured(run, load, plain.set_ups(load), plain.setup)

    def together(self, operation: int, lines: list[Measured]) -> Piece:
        """The lines of one task with that operation: one batch where its parts share the set-up."""
        plain = self._plain[operation]
        shared = plain.set_ups(sum(line.load for line in lines)) if plain.shares else sum(line.alone for line in lines)
        run = sum(line.run for line in lines)
        return Piece(plain.key, shared * plain.setup, run, plain.grade)


class _Plain:
    """A standard time in floats."""

    def __init__(self, time: StandardTime, pace: float) -> None:
        operation, place = time.operation, time.operation.place
        allowed = (1 + float(time.allowance) / 100) * pace
        self.key, self.grade = str(operation.uid), str(operation.grade.uid)
        self.setup, self.run = float(time.setup) * allowed, float(time.run) * allowed
        self.measure, self.shares = operation.measure, operation.shares_setup
        self.capacity = float(place.capacity) if place else 0.0
        self.by = place.capacity_by if place else Measure.PIECE

    def set_ups(self, load: float) -> float:
        """None for nothing, one where nothing limits a batch."""
        if not load:
            return 0.0
        return float(ceil(load / self.capacity - 1e-9)) if self.capacity and self.by != Measure.BATCH else 1.0


def _amount(line: Line, measure: str) -> float:
    """As `quotes.engine.visits.quantity` has it."""
    if not line.pieces:
        return 0.0
    if line.own is not None:
        return line.own
    if measure == Measure.BATCH:
        return 1.0
    return _sized(line, measure, line.pieces)


def _sized(line: Line, measure: str, pieces: float) -> float:
    if measure == Measure.PIECE:
        return pieces
    if measure == Measure.DM2:
        return pieces * line.area
    if measure == Measure.KG:
        return pieces * line.weight
    if measure == Measure.OPENING:
        return pieces * line.openings
    return pieces * line.spokes if measure == Measure.SPOKE else 0.0


def _load(line: Line, plain: _Plain, amount: float) -> float:
    """What it fills of its place, as `quotes.engine.visits.extent` has it."""
    if not plain.capacity or plain.by == Measure.BATCH:
        return 1.0
    if plain.by == plain.measure:
        return amount
    counted = plain.measure == Measure.PIECE and line.own is not None
    return _sized(line, plain.by, line.own if counted and line.own is not None else line.pieces) or plain.capacity


# -- reading -----------------------------------------------------------------------------------------------------------


def lines(tasks: QuerySet[TaskRow]) -> Iterator[Line]:
    """The first-pass lines of ``tasks``, task by task. One query."""
    part = "step__part__"
    rows = TaskStep.objects.filter(task__in=tasks, visit=FIRST, step__operation__isnull=False).order_by("task", "pk")
    found = rows.values_list(
        "task",
        "step__part__restoration",
        "step__operation",
        f"{part}condition",
        Cast("step__quantity", FloatField()),
        f"{part}pieces",
        _size(part, "area"),
        _size(part, "weight"),
        f"{part}openings",
        f"{part}spokes",
        "step",
    )
    return map(Line._make, found.iterator(chunk_size=5_000))


def _size(part: str, name: str) -> Coalesce:
    own, usual = (Cast(f"{part}{where}{name}", FloatField()) for where in ("", "size_class__"))
    return Coalesce(own, usual, Value(0.0))


def finished() -> QuerySet[TaskRow]:
    """Tasks of work on bikes of which nothing is left to do, and nobody is on."""
    lines_of = TaskStep.objects.filter(task=OuterRef("pk"))
    done = Done.objects.filter(step=OuterRef("step"), visit=OuterRef("visit"), undone_at__isnull=True)
    sent_back = Rework.objects.filter(step=OuterRef("step"), visit=OuterRef("visit"))
    on_it = Clocking.objects.filter(task=OuterRef("pk"), superseded_at__isnull=True, ended_at__isnull=True)
    return TaskRow.objects.filter(
        Exists(lines_of),
        ~Exists(lines_of.filter(~Exists(done), ~Exists(sent_back))),
        ~Exists(on_it),
        kind=TaskRow.Kind.BIKE,
    )


def minutes(tasks: QuerySet[TaskRow]) -> dict[int, dict[int, int]]:
    """Task to person to attended minutes [min], breaks left out. Two queries."""
    rows = Clocking.objects.filter(
        task__in=tasks, superseded_at__isnull=True, ended_at__isnull=False, ended_at__gt=F("began_at")
    ).order_by()
    through = Case(When(through_breaks=True, then=Value(1)), default=Value(0), output_field=IntegerField())
    found = list(rows.values_list("task", "person", _minute("began_at"), _minute("ended_at"), through))
    if not found:
        return {}
    first, last = min(row[2] for row in found), max(row[3] for row in found)
    breaks = breaks_between(first, last, pauses(), timezone.get_current_timezone())
    return on_tasks(found, [(begin, end) for begin, end, _paid in breaks])


def _minute(field: str) -> Func:
    """The minute of the UTC time line, counted from 1970, as `quotes.engine.attended.minute` has it."""
    if connection.vendor == "postgresql":
        return Func(F(field), template="(floor(extract(epoch from %(expressions)s) / 60))::bigint", output_field=WHOLE)
    return Func(F(field), template="(CAST(strftime('%%%%s', %(expressions)s) AS INTEGER) / 60)", output_field=WHOLE)


WHOLE = IntegerField()


def tasks(on: date, *, of: Q | None = None) -> list[Task]:
    """Finished first-pass tasks with the standard of a day, each by its key; ``of`` narrows them. Six queries."""
    wanted = finished() if of is None else finished().filter(of)
    standards = Standards(on)
    clocked = minutes(wanted)
    found = []
    for key, bikes, pieces in grouped(standards, lines(wanted)):
        people = clocked.get(key)
        if people and pieces:
            bike = str(bikes.pop()) if len(bikes) == 1 else f"task {key}"
            own = {str(person): float(each) for person, each in people.items()}
            found.append(Task(f"{key:09}", bike, sum(own.values()), pieces, own))
    return found


def grouped(standards: Standards, found: Iterator[Line]) -> Iterator[tuple[int, set[int | None], tuple[Piece, ...]]]:
    """Task, its bikes and its pieces; a task with a step of which nobody knows the standard says nothing, and has none."""
    for task, rows in _by_task(found):
        by_operation: dict[int, list[Measured]] = {}
        known = True
        for line in rows:
            if line.operation not in standards:
                known = False
                break
            by_operation.setdefault(line.operation, []).append(standards.measured(line))
        pieces = [standards.together(operation, measured) for operation, measured in by_operation.items()]
        yield task, {line.bike for line in rows}, tuple(one for one in pieces if one.standard) if known else ()


def _by_task(found: Iterator[Line]) -> Iterator[tuple[int, list[Line]]]:
    task: int | None = None
    rows: list[Line] = []
    for line in found:
        if line.task != task:
            if task is not None:
                yield task, rows
            task, rows = line.task, []
        rows.append(line)
    if task is not None:
        yield task, rows
