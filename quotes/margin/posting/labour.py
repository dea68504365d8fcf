"""Clocked time as cost: the minutes of a clocking on its task, shared over the steps of the task to the second.

Shared by standard run time, alike where none has one. What a clocking costs is its minutes at the rate of the person's grade
on that day; that, and the overhead laid on it, are rounded once and shared by largest remainder. A day is the local day on
which somebody came on.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.utils import timezone

from quotes.engine.attended import Span, pieces
from quotes.engine.money import rounded, shared_out
from quotes.margin.models import CostEntry
from quotes.margin.models.entries import STANDING
from quotes.margin.posting.kept import Cost, Kept, chunks, mark_of, posted
from quotes.margin.posting.kept import post as keep
from quotes.margin.posting.rates import HourRates, Layings
from shop.floor.models import Clocking, Comeback, Correction, Rework
from shop.floor.selectors import LIVE, pauses
from shop.people.grading import grades
from shop.routes.models import Authorisation, Task, TaskStep
from shop.routes.standard import standard_minutes

SOURCE = CostEntry.Source.CLOCKING
Nature = CostEntry.Nature
#: Keys are given out before rows are there to be seen: so far back everything is looked at once more.
BACK = 2_000
#: So many new ones are posted in one transaction: on SQLite others wait for it.
AT_ONCE = 3_000
MINUTE, HOUR = 60, Decimal(3600)
OF_KIND = {
    Task.Kind.COMEBACK: Nature.COMEBACK,
    Task.Kind.WALK_IN: Nature.WALK_IN,
    Task.Kind.INDIRECT: Nature.INDIRECT,
    Task.Kind.REWORK: Nature.AGAIN,
}


def post(*, now: datetime) -> Kept:
    """Post clockings that ended, and take back those that were corrected."""
    found = Kept()
    for keys in chunks(_corrected()):
        found += keep(SOURCE, dict.fromkeys(posted(SOURCE, keys), ()), now=now)
    books = _Books(now)
    for keys in chunks(_new(now)):
        found += keep(SOURCE, books.costs(keys), now=now)
    return found


def _corrected() -> set[int]:
    mark = mark_of("correction")
    rows = Correction.objects.filter(pk__gt=mark.upto - BACK)
    mark.upto = max([mark.upto, *rows.values_list("pk", flat=True)])
    mark.save()
    return set(Clocking.objects.filter(superseded_by__in=rows).values_list("pk", flat=True))


def _new(now: datetime) -> set[int]:
    """Clockings that ended and have no entries: so many after the mark, some before it, and those that were open then."""
    mark = mark_of(SOURCE)
    rows = Clocking.objects.filter(LIVE, pk__gt=mark.upto - BACK).order_by("pk")
    seen = list(rows.values_list("pk", "ended_at")[: BACK + AT_ONCE])
    ended = {key for key, ended_at in seen if ended_at is not None}
    for keys in chunks(json.loads(mark.waiting)):
        were_open = Clocking.objects.filter(LIVE, pk__in=keys, ended_at__isnull=False)
        ended |= set(were_open.values_list("pk", flat=True))
    still_open = list(Clocking.objects.filter(LIVE, ended_at__isnull=True).values_list("pk", flat=True))
    mark.upto = max([mark.upto, *(key for key, _ended_at in seen)])
    mark.waiting, mark.at = json.dumps(sorted(still_open)), now
    mark.save()
    return _unrated() | {key for keys in chunks(ended) for key in set(keys) - posted(SOURCE, keys)}


def _unrated() -> set[int]:
    """Those that cost nothing yet, since nobody's rate was known: somebody may have given the person a grade since."""
    rows = CostEntry.objects.filter(source=SOURCE, rate_minor__isnull=True, close__isnull=True)
    return set(rows.filter(STANDING).order_by("-pk").values_list("source_id", flat=True)[:AT_ONCE])


def is_behind() -> bool:
    """Whether there are clockings that were not looked at yet."""
    return Clocking.objects.filter(LIVE, pk__gt=mark_of(SOURCE).upto).exists()


@dataclass(frozen=True, slots=True)
class _Line:
    """A step of a task as its minutes are shared: whose it is, on which visit, and by what weight."""

    restoration: int
    step: Any
    visit: int
    weight: Decimal
    grade: int | None
    ours: bool = False


@dataclass(frozen=True, slots=True)
class _Hour:
    """The day of a clocking, the grade of who clocked, and what an hour of theirs costs [minor units]."""

    on: date
    grade: int | None
    rate: int | None

    def cost(self, nature: str, **more: Any) -> Cost:
        return Cost(on=self.on, nature=nature, grade_id=self.grade, rate_minor=self.rate, **more)


class _Books:
    """What is read once for all clockings that are posted together."""

    def __init__(self, now: datetime) -> None:
        self._now = now
        self._zone = timezone.get_current_timezone()
        self._pauses = pauses()
        self._rates, self._layings, self._grades = HourRates(), Layings(), grades()

    def costs(self, keys: Sequence[int]) -> dict[int, Sequence[Cost]]:
        rows = list(Clocking.objects.filter(pk__in=keys).select_related("task"))
        tasks = {row.task_id: row.task for row in rows}
        lines, causes = self._lines(tasks), _causes(tasks.values())
        return {row.pk: self._of(row, lines.get(row.task_id, []), causes.get(row.task_id)) for row in rows}

    def _lines(self, tasks: Mapping[int, Task]) -> dict[int, list[_Line]]:
        found: dict[int, list[_Line]] = defaultdict(list)
        rows = list(
            TaskStep.objects.filter(task__in=tasks.keys()).select_related(
                "step__part__size_class",
                "step__part__restoration",
                "step__operation",
                "step__service",
                "step__split_from",
            )
        )
        known = standard_minutes([row.step for row in rows], on=timezone.localdate(self._now))
        ours = not_in_a_quote([row.step.uid for row in rows])
        for row in rows:
            weight = known[row.step_id].run if row.step_id in known else Decimal(0)
            operation = row.step.operation
            grade = operation.grade_id if operation else None
            uid = (row.step.split_from or row.step).uid
            line = _Line(row.step.part.restoration_id, uid, row.visit, weight, grade, row.step.uid in ours)
            found[row.task_id].append(line)
        return found

    def _of(self, row: Clocking, lines: Sequence[_Line], told: tuple[int | None, Any] | None) -> list[Cost]:
        assert row.ended_at is not None
        parts = pieces(Span(row.task_id, row.began_at, row.ended_at, row.through_breaks), self._pauses, self._zone)
        day = timezone.localdate(row.began_at)
        minutes = sum(piece.minutes for piece in parts if piece.task is not None)
        rest = sum(piece.minutes for piece in parts if piece.task is None and piece.counts)
        grade = (
            self._grades(row.person_id, day)
            or row.task.grade_id
            or next((line.grade for line in lines if line.grade), None)
        )
        hour = _Hour(day, grade, self._rates.of(grade, day))
        found = self._shared(row.task, lines, minutes, told, hour)
        if rest:
            cost = _minor(Decimal(rest * MINUTE) / HOUR * (hour.rate or 0))
            found.append(hour.cost(Nature.BREAK, seconds=rest * MINUTE, labour_minor=cost))
        return found

    def _shared(
        self,
        task: Task,
        lines: Sequence[_Line],
        minutes: int,
        told: tuple[int | None, Any] | None,
        hour: _Hour,
    ) -> list[Cost]:
        if not minutes:
            return []
        cause, origin = told or (None, task.origin_uid)
        nature = OF_KIND.get(Task.Kind(task.kind), Nature.FIRST)
        if not lines:
            own = [_Line(task.restoration_id or 0, None, 1, Decimal(1), None)]
        else:
            own = sorted(lines, key=lambda line: (str(line.step), line.visit))
        order = [f"{place:06}" for place in range(len(own))]
        weights = [line.weight for line in own]
        seconds = _whole(shared_out(Decimal(minutes * MINUTE), weights, order, digits=0))
        exact = Decimal(minutes * MINUTE) / HOUR
        worked = [Decimal(each) for each in seconds]
        labour = _whole(shared_out(Decimal(_minor(exact * (hour.rate or 0))), worked, order, digits=0))
        overhead = self._overhead(own, seconds, labour, nature, hour.on)
        return [
            hour.cost(
                nature_of(nature, visit=line.visit, ours=line.ours),
                restoration_id=line.restoration or None,
                step_uid=line.step,
                visit=line.visit,
                cause_id=cause,
                origin_uid=origin,
                seconds=each,
                labour_minor=paid,
                overhead_minor=laid,
            )
            for line, each, paid, laid in zip(own, seconds, labour, overhead, strict=True)
            if each
        ]

    def _overhead(
        self, lines: Sequence[_Line], seconds: Sequence[int], labour: Sequence[int], nature: str, day: date
    ) -> list[int]:
        """Overhead of each line, rounded once for each bike; none on what is for no bike, since that is overhead itself."""
        if nature == Nature.INDIRECT:
            return [0] * len(lines)
        found = [0] * len(lines)
        bikes: dict[int, list[int]] = defaultdict(list)
        for place, line in enumerate(lines):
            bikes[line.restoration].append(place)
        for bike, places in bikes.items():
            laying = self._layings.of(bike or None, day)
            exact = [laying.on(hours=Decimal(seconds[place]) / HOUR, labour=Decimal(labour[place])) for place in places]
            order = [f"{place:06}" for place in places]
            whole = Decimal(_minor(sum(exact, Decimal(0))))
            for place, share in zip(places, _whole(shared_out(whole, exact, order, digits=0)), strict=True):
                found[place] = share
        return found


def not_in_a_quote(steps: Iterable[UUID]) -> set[UUID]:
    """Those of ``steps`` that are done for a damage that is ours: no quote pays for them. One query."""
    rows = Authorisation.objects.filter(step_uid__in=list(steps), kind=Authorisation.Kind.ORIGIN)
    return set(rows.values_list("step_uid", flat=True))


def nature_of(nature: str, *, visit: int, ours: bool) -> str:
    """What work on a step is, given what its task is."""
    if nature == Nature.FIRST and ours:
        return Nature.DAMAGE
    return Nature.AGAIN if nature == Nature.FIRST and visit > 1 else nature


def _causes(tasks: Iterable[Task]) -> dict[int, tuple[int | None, Any]]:
    """Task of a redo or a comeback to its cause and the step that it came from. Two queries, or none."""
    keys = [task.pk for task in tasks if task.kind in (Task.Kind.REWORK, Task.Kind.COMEBACK)]
    if not keys:
        return {}
    found: dict[int, tuple[int | None, Any]] = {}
    for row in Rework.objects.filter(task__in=keys).select_related("came_from", "step"):
        found[row.task_id] = row.cause_id, (row.came_from or row.step).uid
    for back in Comeback.objects.filter(task__in=keys).select_related("step"):
        found[back.task_id] = back.cause_id, back.step.uid
    return found


def _minor(amount: Decimal) -> int:
    return int(rounded(amount, digits=0))


def _whole(shares: Sequence[Decimal]) -> list[int]:
    return [int(share) for share in shares]
