"""Who is on what, and how many minutes went where. Read from clockings whenever somebody asks; nothing of it is kept."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from quotes.engine.attended import (
    Attended,
    Pause,
    Piece,
    Span,
    attended,
    day_bounds,
    minute,
    pieces,
    shared_minutes,
    within,
)
from shop.floor.models import Clocking
from shop.people.models import Break, User
from shop.routes.models import TaskStep
from shop.routes.standard import standard_minutes

LIVE = Q(superseded_at=None)


def open_clockings() -> QuerySet[Clocking]:
    """What everybody is on now, with person and task."""
    rows = Clocking.objects.filter(LIVE, ended_at=None)
    return rows.select_related("person", "task", "task__restoration").order_by("began_at", "pk")


def pauses() -> list[Pause]:
    """The breaks of the shop, also those it has no longer. One query."""
    return [Pause(row.begins, row.ends, row.paid, row.since, row.until) for row in Break.objects.all()]


def clocked(person: User, begin: datetime, end: datetime) -> QuerySet[Clocking]:
    """What counts of a person's clockings and touches ``begin`` to ``end``, in order."""
    touching = Q(ended_at=None) | Q(ended_at__gt=begin)
    rows = Clocking.objects.filter(LIVE, touching, person=person, began_at__lt=end)
    return rows.select_related("task", "task__restoration").order_by("began_at", "pk")


def span_of(row: Clocking, now: datetime) -> Span:
    """An open one counts until ``now``."""
    return Span(row.task_id, row.began_at, row.ended_at or max(now, row.began_at), row.through_breaks)


def minutes_by_task(tasks: Iterable[int] | None = None, *, now: datetime) -> dict[int, int]:
    """Minutes on each of ``tasks`` (primary keys; all that were worked on when None), by everybody together. Two queries."""
    rows = Clocking.objects.filter(LIVE).order_by("began_at", "pk")
    if tasks is not None:
        rows = rows.filter(task__in=list(tasks))
    zone = timezone.get_current_timezone()
    return dict(attended((span_of(row, now) for row in rows), pauses(), zone).tasks)


@dataclass(frozen=True, slots=True)
class Line:
    """One clocking as far as it lies on the day. ``minutes`` are those on the task, breaks left out [min]."""

    row: Clocking
    began_at: datetime
    ended_at: datetime
    minutes: int
    open: bool
    pieces: Sequence[Piece]

    @property
    def recalled(self) -> bool:
        return Clocking.How.RECALLED in (self.row.how, self.row.ended_how)

    @property
    def corrected(self) -> bool:
        return self.row.how == Clocking.How.CORRECTED


@dataclass(frozen=True, slots=True)
class Day:
    """A person's day: what they were on, and where every attended minute went."""

    day: date
    begin: datetime
    end: datetime
    lines: Sequence[Line]
    attended: Attended

    @property
    def on_tasks(self) -> int:
        """Minutes on tasks, breaks left out [min]."""
        return sum(self.attended.tasks.values())

    @property
    def gaps(self) -> list[tuple[datetime, datetime]]:
        """Between one clocking and the next, where that is a minute or more."""
        return [
            (one.ended_at, other.began_at)
            for one, other in pairwise(self.lines)
            if minute(other.began_at) > minute(one.ended_at)
        ]


def day_of(person: User, day: date, *, now: datetime) -> Day:
    """What a person was on on a local day. Two queries."""
    zone = timezone.get_current_timezone()
    begin, end = day_bounds(day, zone)
    rests = pauses()
    lines, spans = [], []
    for row in clocked(person, begin, end):
        for span in within([span_of(row, now)], begin, end):
            parts = pieces(span, rests, zone)
            on_it = sum(piece.minutes for piece in parts if piece.task is not None)
            lines.append(Line(row, span.began, span.ended, on_it, row.ended_at is None, parts))
            spans.append(span)
    return Day(day, begin, end, lines, attended(spans, rests, zone))


def week(last: date, count: int, *, now: datetime) -> list[tuple[User, dict[date, int]]]:
    """Attended minutes on each of ``count`` days up to ``last``, for everybody who clocked in them. Two queries."""
    zone = timezone.get_current_timezone()
    days = [last - timedelta(days=back) for back in range(count - 1, -1, -1)]
    begin, end = day_bounds(days[0], zone)[0], day_bounds(last, zone)[1]
    touching = Q(ended_at=None) | Q(ended_at__gt=begin)
    rows = Clocking.objects.filter(LIVE, touching, began_at__lt=end).select_related("person").order_by("began_at", "pk")
    people: dict[int, tuple[User, list[Span]]] = {}
    for row in rows:
        people.setdefault(row.person_id, (row.person, []))[1].append(span_of(row, now))
    rests = pauses()
    return [
        (person, {day: attended(within(spans, *day_bounds(day, zone)), rests, zone).minutes for day in days})
        for person, spans in sorted(people.values(), key=lambda one: str(one[0]))
    ]


def minutes_by_step(tasks: Iterable[int], *, now: datetime) -> dict[int, int]:
    """Minutes on each step of ``tasks``, adding up exactly to those of the tasks that have steps.

    A task's minutes are shared over its steps by their standard run time today, by largest remainder; alike where none has one.
    """
    lines: dict[int, list[TaskStep]] = defaultdict(list)
    wanted = list(tasks)
    with_parts = ("step__part__size_class", "step__part__restoration", "step__operation", "step__service")
    for line in TaskStep.objects.filter(task__in=wanted).select_related(*with_parts):
        lines[line.task_id].append(line)
    known = standard_minutes([line.step for rows in lines.values() for line in rows], on=timezone.localdate(now))
    found: dict[int, int] = defaultdict(int)
    for task, total in minutes_by_task(wanted, now=now).items():
        rows = lines.get(task, [])
        weights = [known[line.step_id].run if line.step_id in known else Decimal(0) for line in rows]
        for line, share in zip(rows, shared_minutes(total, weights, [line.pk for line in rows]), strict=True):
            found[line.step_id] += share
    return dict(found)


def on_tasks() -> dict[int, set[int]]:
    """Task to the people who are on it now, by their keys. One query."""
    found: dict[int, set[int]] = defaultdict(set)
    for task, person in Clocking.objects.filter(LIVE, ended_at=None).values_list("task", "person"):
        found[task].add(person)
    return dict(found)


def with_time(tasks: Collection[int]) -> set[int]:
    """Those of ``tasks``, by their keys, on which somebody is or was. One query."""
    rows = Clocking.objects.filter(LIVE, task__in=tasks).exclude(ended_at=F("began_at"))
    return set(rows.order_by().values_list("task", flat=True).distinct())
