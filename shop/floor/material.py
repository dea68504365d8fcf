"""Material: what operations use by the book, what was mixed, and what a count of the shelves says against both.

By the book: what a step uses goes by the measure of its operation, or by film and area. What one task did on one day is one
mix, of which no less is made than can be mixed; its members share it by what each uses. The formulas are those a quote is priced
with (`quotes.engine.consumables`), in their present variants. Nothing of it is kept.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, Max, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine import inputs
from quotes.engine.consumables import by_measure, powder, wet_film  # noqa: F401  (registers the variants)
from quotes.engine.errors import BadInput
from quotes.engine.formulas import PRESENT, REGISTRY
from quotes.engine.inputs import Measure
from quotes.engine.visits import extent, quantity
from shop.floor.models import Count, Mix
from shop.journal.services import record, subject_of
from shop.methods.models import Consumable, Operation, Usage
from shop.people.models import User
from shop.rates.selectors import consumable_prices
from shop.routes.models import Done, Remedy, Task, TaskStep
from shop.routes.selectors import as_measured

NONE = Decimal(0)
HUNDRED = Decimal(100)


# -- by the book -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Used:
    """What one step used of a consumable on a day: ``used`` on the part itself, ``mixed`` its share of the mix [unit].

    ``done`` is the row that says so, else ``remedy`` the work before a redo, on the ``step`` that its part goes back to.
    """

    consumable: int
    day: date
    used: Decimal
    mixed: Decimal
    step: int
    done: int | None = None
    remedy: int | None = None


@dataclass(frozen=True, slots=True)
class _Work:
    """An operation done on a part, on a day, within a task."""

    task: int
    operation: Operation
    part: inputs.Part
    step: inputs.Step
    day: date
    step_pk: int
    done: int | None = None
    remedy: int | None = None


def by_the_book(first: date, last: date) -> list[Used]:
    """What was used from ``first`` to ``last``, both included, in a constant number of queries.

    Pack sizes, which matter where whole packs are mixed, are those in force on the last day. A step by the hour without hours
    says nothing.
    """
    works = [*_steps(first, last), *_remedies(first, last)]
    usages = _usages({work.operation.pk for work in works})
    packs = {pk: price.pack_size for pk, price in consumable_prices(last).items()}
    mixes: dict[tuple[int, int, date, int], list[tuple[Usage, Decimal, _Work]]] = defaultdict(list)
    for work in works:
        for usage in usages.get(work.operation.pk, ()):
            with suppress(BadInput):
                amount = amount_of(usage, work.operation, work.part, work.step)
                if amount:
                    mixes[work.task, work.operation.pk, work.day, usage.pk].append((usage, amount, work))
    found = []
    for (_task, _operation, day, _usage), members in mixes.items():
        item = members[0][0].consumable
        whole = sum((amount for _row, amount, _work in members), NONE)
        mix = mixed(item, whole, packs.get(item.pk))
        found += [
            Used(
                item.pk,
                day,
                own,
                _formula("portion")(whole=mix, own=own, together=whole),
                work.step_pk,
                work.done,
                work.remedy,
            )
            for _, own, work in members
        ]
    return found


def amount_of(usage: Usage, operation: Operation, part: inputs.Part, step: inputs.Step) -> Decimal:
    """What one step uses of a consumable [its unit]. Raises `BadInput` where it goes by the hour and no hours are known."""
    item, measure = usage.consumable, Measure(operation.measure)
    whole = quantity(part, step, measure)
    if item.by == Consumable.By.MEASURE:
        return Decimal(_formula("usage")(amount=usage.amount, quantity=whole, waste=usage.waste / HUNDRED))
    area = extent(part, step, Measure.DM2, measure) if whole else NONE
    given = {"area": area, "film": usage.film, "transfer": usage.transfer / HUNDRED}
    if item.by == Consumable.By.FILM:
        return Decimal(_formula("film")(**given, solids=item.solids))
    return Decimal(_formula("powder")(**given, density=item.density))


def mixed(item: Consumable, used: Decimal, pack_size: Decimal | None) -> Decimal:
    """What has to be mixed so that ``used`` can be; whole packs only where the size of a pack is known."""
    packs = item.whole_packs and bool(pack_size)
    return Decimal(
        _formula("mix")(used=used, smallest=item.smallest_mix, pack_size=pack_size or Decimal(1), whole_packs=packs)
    )


def _formula(topic: str) -> Callable[..., Any]:
    return REGISTRY[PRESENT[topic]].compute


def _between(first: date, last: date) -> tuple[datetime, datetime]:
    begin = timezone.make_aware(datetime.combine(first, time.min))
    return begin, timezone.make_aware(datetime.combine(last + timedelta(days=1), time.min))


def _steps(first: date, last: date) -> Iterable[_Work]:
    """Labour steps that were done on these days; done once more, they used once more."""
    begin, end = _between(first, last)
    rows = Done.objects.filter(at__gte=begin, at__lt=end, undone_at__isnull=True, step__operation__usages__isnull=False)
    rows = rows.exclude(step__split_from__isnull=False, step__removed_at__isnull=False)  # put together again
    rows = rows.select_related("step__part__size_class", "step__operation").distinct()
    tasks = {
        (step, visit): task
        for task, step, visit in TaskStep.objects.filter(
            Q(step__in=rows.values("step")) | Q(step__in=rows.values("step__split_from"))
        ).values_list("task", "step", "visit")
    }
    for row in rows:
        operation = row.step.operation
        assert operation is not None
        part, step = as_measured(row.step)
        # Pieces that were split off once it was done were in the mix of all; booked on no task, it is a mix of its own.
        whole = tasks.get((row.step.split_from_id or row.step_id, row.visit), -row.step_id)
        task = tasks.get((row.step_id, row.visit), whole)
        yield _Work(task, operation, part, step, timezone.localdate(row.at), row.step_id, done=row.pk)


def _remedies(first: date, last: date) -> Iterable[_Work]:
    """Work that came before a redo, on each part of its task."""
    begin, end = _between(first, last)
    rows = Remedy.objects.filter(done_at__gte=begin, done_at__lt=end, operation__usages__isnull=False)
    found = list(rows.select_related("operation").distinct())
    lines = TaskStep.objects.filter(task__in=[row.task_id for row in found])
    lines = lines.select_related("step__part__size_class", "step__operation", "step__service").order_by("pk")
    parts: dict[int, dict[int, tuple[inputs.Part, inputs.Step, int]]] = defaultdict(dict)
    for line in lines:
        parts[line.task_id].setdefault(line.step.part_id, (*as_measured(line.step), line.step_id))
    for row in found:
        assert row.operation is not None
        assert row.done_at is not None
        day = timezone.localdate(row.done_at)
        for part, step, pk in parts[row.task_id].values():
            yield _Work(row.task_id, row.operation, part, replace(step, quantity=None), day, pk, remedy=row.pk)


def _usages(operations: Iterable[int]) -> Mapping[int, Sequence[Usage]]:
    found: dict[int, list[Usage]] = defaultdict(list)
    for row in Usage.objects.filter(operation__in=list(operations)).select_related("consumable"):
        found[row.operation_id].append(row)
    return found


def by_month(months: Sequence[date]) -> dict[int, list[Decimal]]:
    """Consumable to what was used by the book in each of ``months``, which are given by their first days in order."""
    if not months:
        return {}
    last = (months[-1].replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)
    place = {month: at for at, month in enumerate(months)}
    found: dict[int, list[Decimal]] = defaultdict(lambda: [NONE] * len(months))
    for row in by_the_book(months[0], last):
        found[row.consumable][place[row.day.replace(day=1)]] += row.mixed
    return dict(found)


# -- mixes -------------------------------------------------------------------------------------------------------------


def mixes_of(task: Task) -> QuerySet[Mix]:
    """Those that stand, the newest first."""
    return task.mixes.filter(taken_back_at__isnull=True).select_related("consumable", "person").order_by("-at", "-pk")


def materials_of(task: Task) -> tuple[list[Consumable], list[Consumable]]:
    """What the operations of a task use, and everything else."""
    operations = Operation.objects.filter(Q(step__tasks__task=task) | Q(remedy__task=task)).values("pk")
    own = list(Consumable.objects.filter(usage__operation__in=operations).distinct().order_by("name"))
    return own, list(Consumable.objects.exclude(pk__in=[item.pk for item in own]).order_by("name"))


@transaction.atomic
def note_mix(
    *,
    uid: UUID,
    task: Task,
    consumable: Consumable,
    amount: Decimal,
    left_over: Decimal = NONE,
    note: str = "",
    person: User,
    now: datetime,
) -> Mix:
    """What was mixed for a task, and what of it was left over. ``uid`` is that of the form: sent twice, it is kept once."""
    _hold(task)
    before = Mix.objects.filter(uid=uid).first()
    if before is not None:
        return before
    if amount <= 0:
        raise ValidationError({"amount": _("Give how much was mixed, above 0.")}, code="nothing")
    if left_over > amount:
        raise ValidationError(
            {"left_over": _("More is left over than was mixed. Check both amounts.")}, code="left over"
        )
    row = Mix(
        uid=uid,
        task=task,
        consumable=consumable,
        amount=amount,
        left_over=left_over,
        note=note.strip(),
        person=person,
        at=now,
    )
    row.full_clean(exclude={"task", "consumable", "person"})
    row.save(force_insert=True)
    record(who=person.username, at=now, what="mix noted", subject=subject_of(task), after=_told(row))
    return row


@transaction.atomic
def take_back_mix(*, mix: Mix, person: User, now: datetime) -> Mix:
    """It was noted by mistake. Taken back already, nothing changes."""
    _hold(mix.task)
    mix.refresh_from_db(fields=["taken_back_at"])
    if mix.taken_back_at is None:
        mix.taken_back_at = now
        mix.save(update_fields=["taken_back_at"])
        record(who=person.username, at=now, what="mix taken back", subject=subject_of(mix.task), before=_told(mix))
    return mix


def _hold(task: Task) -> None:
    """Two who write for one task come one after the other, on both engines."""
    Task.objects.filter(pk=task.pk).update(name=F("name"))


def _told(mix: Mix) -> dict[str, object]:
    told: dict[str, object] = {"material": mix.consumable.name, "mixed": mix.amount, "left over": mix.left_over}
    return told | ({"note": mix.note} if mix.note else {})


# -- counts ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Between:
    """A consumable from one count to the next [unit]: what really went, what should have by the book, what was mixed.

    ``gone`` is what was there and came in, less what is there; ``over`` how much more that is than by the book, and
    ``over_part`` the same as a fraction of the book, None where the book says nothing. None of these before there are two counts.
    """

    consumable: Consumable
    newest: Count | None
    before: Count | None
    book: Decimal
    mixed: Decimal
    left_over: Decimal

    @property
    def gone(self) -> Decimal | None:
        if self.newest is None or self.before is None:
            return None
        return self.before.counted + self.newest.came_in - self.newest.counted

    @property
    def over(self) -> Decimal | None:
        return None if self.gone is None else self.gone - self.book

    @property
    def over_part(self) -> Decimal | None:
        return None if self.over is None or not self.book else self.over / self.book

    @property
    def mixed_over(self) -> Decimal:
        """What was mixed beyond the book; below nothing where less was noted than should have been."""
        return self.mixed - self.book

    @property
    def mixed_over_part(self) -> Decimal | None:
        return self.mixed_over / self.book if self.book else None


def standing(day: date) -> list[Between]:
    """Every consumable between its two newest counts up to ``day``; with one count only, since then.

    A count is of the evening of its day. A constant number of queries.
    """
    items = list(Consumable.objects.order_by("name"))
    counts: dict[int, list[Count]] = defaultdict(list)
    for row in Count.objects.filter(day__lte=day).order_by("day"):
        counts[row.consumable_id].append(row)
    pairs = {item.pk: _pair(counts[item.pk]) for item in items}
    spans = {pk: _span(newest, before, day) for pk, (newest, before) in pairs.items()}
    known = [span for span in spans.values() if span]
    used = by_the_book(min(first for first, _ in known), max(last for _, last in known)) if known else []
    mixes = _mixes(known)
    return [_between_counts(item, *pairs[item.pk], spans[item.pk], used, mixes) for item in items]


def _pair(counts: Sequence[Count]) -> tuple[Count | None, Count | None]:
    return (counts[-1] if counts else None), (counts[-2] if len(counts) > 1 else None)


def _span(newest: Count | None, before: Count | None, day: date) -> tuple[date, date] | None:
    """The days that lie between: those after the earlier count, through that of the later one."""
    if newest is None:
        return None
    if before is None:
        return newest.day + timedelta(days=1), max(day, newest.day + timedelta(days=1))
    return before.day + timedelta(days=1), newest.day


def _mixes(spans: Sequence[tuple[date, date]]) -> list[Mix]:
    if not spans:
        return []
    begin, end = _between(min(first for first, _ in spans), max(last for _, last in spans))
    return list(Mix.objects.filter(at__gte=begin, at__lt=end, taken_back_at__isnull=True))


def _between_counts(
    item: Consumable,
    newest: Count | None,
    before: Count | None,
    span: tuple[date, date] | None,
    used: Sequence[Used],
    mixes: Sequence[Mix],
) -> Between:
    if span is None:
        return Between(item, newest, before, NONE, NONE, NONE)
    first, last = span
    own = [row for row in mixes if row.consumable_id == item.pk and first <= timezone.localdate(row.at) <= last]
    book = sum((row.mixed for row in used if row.consumable == item.pk and first <= row.day <= last), NONE)
    mixed_ = sum((row.amount for row in own), NONE)
    return Between(item, newest, before, book, mixed_, sum((row.left_over for row in own), NONE))


def counted_before(day: date) -> dict[int, date]:
    """Consumables, by their keys, to the day of their last count before ``day``; without those never counted. One query."""
    rows = Count.objects.filter(day__lt=day).order_by().values("consumable").annotate(last=Max("day"))
    return dict(rows.values_list("consumable", "last"))


@transaction.atomic
def note_count(
    *, consumable: Consumable, day: date, counted: Decimal, came_in: Decimal = NONE, who: str, now: datetime
) -> Count:
    """What is on the shelf on the evening of ``day``, and what came in since the count before. Said again, it is corrected."""
    Consumable.objects.filter(pk=consumable.pk).update(name=F("name"))
    if day > timezone.localdate(now):
        raise ValidationError({"day": _("Nobody can count on a day to come. Give today or earlier.")}, code="day")
    row = Count.objects.filter(consumable=consumable, day=day).first() or Count(consumable=consumable, day=day)
    old = {} if row.pk is None else {"counted": row.counted, "came in": row.came_in}
    row.counted, row.came_in, row.who, row.at = counted, came_in, who, now
    row.full_clean(exclude={"consumable"})
    row.save()
    told = {"counted": counted, "came in": came_in}
    record(who=who, at=now, what="material counted", subject=subject_of(consumable), before=old, after=told)
    return row
