"""Tasks, formed from what is authorised: by batch where parts share a set-up, else by area. People put them together anew."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.methods.models import Operation, Place, Service
from shop.people.models import Grade
from shop.restorations.models import Restoration
from shop.restorations.services import ChangedMeanwhileError, hold_scope
from shop.routes.graph import Graph, graph
from shop.routes.models import Authorisation, Done, Remedy, Step, Task, TaskStep
from shop.routes.presence import on_tasks, with_time
from shop.routes.splits import LIVE_STEP

#: Kinds whose steps stay in them: what is booked there counts as rework, whatever else is done in passing.
KEPT_TOGETHER = (Task.Kind.REWORK, Task.Kind.COMEBACK)


def indirect_names() -> tuple[str, ...]:
    """What every workshop books time on that is for no bike; a shop adds and closes its own."""
    return (_("Fetching and bringing"), _("Telephone"), _("Cleaning up"), _("Teaching"), _("Waiting"))


# -- forming -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Group:
    key: str
    name: str
    area: str
    operation: Operation


@transaction.atomic
def form_tasks(*, restoration: Restoration, now: datetime) -> int:
    """Put every authorised labour step that is in no task on its present visit into one; the number of steps.

    No entry in the journal: tasks follow from what was authorised, which has its own.
    """
    hold_scope(restoration.pk)
    found = graph({restoration.pk})
    missing = _missing(found)
    turns = found.turns()
    groups: dict[str, _Group] = {}
    lines: dict[str, list[Step]] = defaultdict(list)
    for step in missing:
        group = _group(step, turns[step.pk])
        groups.setdefault(group.key, group)
        lines[group.key].append(step)
    tasks = {task.key: task for task in Task.objects.filter(key__in=groups, closed_at__isnull=True)}
    for key, group in groups.items():
        task = tasks.get(key) or _formed(group, restoration, now)
        TaskStep.objects.bulk_create(TaskStep(task=task, step=step, visit=step.visit) for step in lines[key])
        _keep_bike(task)
    return len(missing)


def _missing(found: Graph) -> list[Step]:
    placed = set(TaskStep.objects.filter(step__in=found.steps, visit=F("step__visit")).values_list("step", flat=True))
    steps = [step for route in found.routes.values() for step in route if step.operation_id]
    return [one for one in steps if one.pk in found.authorised and one.pk not in placed and not found.is_past(one.pk)]


def _group(step: Step, turn: int) -> _Group:
    operation, part = step.operation, step.part
    assert operation is not None
    finish = part.agreed_finish if step.origin == Step.Origin.FINISH else None
    own = f"{part.restoration_id} {operation.pk} {turn}"
    if operation.shares_setup:
        name = _("%(work)s, %(finish)s") % {"work": operation, "finish": finish} if finish else str(operation)
        return _Group(f"batch {own} {finish.pk if finish else 0}", _again(name, turn), "", operation)
    area = part.area_name
    name = _("%(area)s: %(work)s") % {"area": area, "work": operation} if area else str(operation)
    return _Group(f"area {own} {area}", _again(name, turn), area, operation)


def _again(name: str, turn: int) -> str:
    return name if turn == 1 else _("%(name)s, time %(turn)s on the route") % {"name": name, "turn": turn}


def _formed(group: _Group, restoration: Restoration, now: datetime) -> Task:
    return Task.objects.create(
        name=group.name[:120],
        restoration=restoration,
        area_name=group.area,
        place=group.operation.place,
        grade=group.operation.grade,
        key=group.key,
        made_at=now,
    )


def _keep_bike(task: Task) -> None:
    """A task of steps of one bike is that bike's; of several it is nobody's."""
    bikes = set(task.lines.values_list("step__part__restoration", flat=True).order_by())
    if not bikes:
        return
    only = bikes.pop() if len(bikes) == 1 else None
    if task.restoration_id != only:
        task.restoration_id = only
        task.save(update_fields=["restoration"])


def unplaced() -> QuerySet[Step]:
    """Authorised labour steps on a route that are in no task on their present visit."""
    part_is_live = Q(part__removed_at__isnull=True) & (
        Q(part__split_from__isnull=True) | Q(part__split_from__removed_at__isnull=True)
    )
    visit = {"step": OuterRef("pk"), "visit": OuterRef("visit")}
    return Step.objects.filter(
        LIVE_STEP,
        part_is_live,
        Q(quantity__isnull=True) | Q(quantity__gt=0),
        Exists(Authorisation.objects.filter(step_uid=OuterRef("uid"))),
        ~Exists(TaskStep.objects.filter(**visit)),
        ~Exists(Done.objects.filter(undone_at__isnull=True, **visit)),
        operation__isnull=False,
        part__pieces__gt=0,
    )


def unplaced_of(restoration: Restoration) -> QuerySet[Step]:
    """The same of one restoration."""
    return unplaced().filter(part__restoration=restoration)


def mend(*, now: datetime) -> None:
    """Form the tasks that are missing; and those for no bike, where there were never any."""
    bikes = unplaced().order_by().values_list("part__restoration", flat=True).distinct()
    for restoration in Restoration.objects.filter(pk__in=list(bikes)):
        form_tasks(restoration=restoration, now=now)
    if not Task.objects.filter(kind=Task.Kind.INDIRECT).exists():
        for name in indirect_names():
            indirect_task(name=name, who="", now=now)


# -- made by hand ------------------------------------------------------------------------------------------------------


@transaction.atomic
def make_task(
    *,
    name: str,
    lines: Sequence[TaskStep] = (),
    kind: Task.Kind = Task.Kind.BIKE,
    restoration: Restoration | None = None,
    origin_uid: UUID | None = None,
    place: Place | None = None,
    grade: Grade | None = None,
    alone: bool = False,
    who: str,
    now: datetime,
) -> Task:
    """A task put together by hand, of ``lines`` that leave the tasks they are in, also of several bikes.

    Rework and comebacks name the step they come from by ``origin_uid``.
    """
    first = lines[0].step.operation if lines else None
    task = Task(
        kind=kind,
        name=name.strip(),
        restoration=restoration,
        place=place or (first.place if first else None),
        grade=grade or (first.grade if first else None),
        origin_uid=origin_uid,
        alone=alone,
        by_hand=True,
        made_at=now,
    )
    task.full_clean()
    task.save()
    after = {"name": task.name, "kind": task.get_kind_display()} | ({"one person at a time": True} if alone else {})
    record(who=who, at=now, what="task made", subject=subject_of(task), after=after)
    if lines:
        move_lines(lines=lines, to=task, who=who, now=now)
    return task


@transaction.atomic
def move_lines(*, lines: Sequence[TaskStep], to: Task, who: str, now: datetime) -> int:
    """Move steps into another task; each of ``lines`` is as the person saw it, with the task it was in.

    Raises a `ValidationError` where somebody else moved one of them meanwhile, where one is done or is rework, or where a task
    would keep time and no step to count it for: then none is moved.
    """
    moving = [line for line in lines if line.task_id != to.pk]
    for pk in sorted({line.step.part.restoration_id for line in moving} | ({to.restoration_id or 0} - {0})):
        hold_scope(pk)
    _refuse_move(moving, to)
    for line in moving:
        if not TaskStep.objects.filter(pk=line.pk, task=line.task_id).update(task=to):
            said = _("Somebody else moved “%(step)s” of %(part)s meanwhile. Look at the tasks again.")
            raise ValidationError(said % {"step": line.step, "part": line.step.part}, code="moved meanwhile")
    left = {line.task_id for line in moving}
    _refuse_time_without_steps(left)
    for task in Task.objects.filter(pk__in={to.pk, *left}):
        _keep_bike(task)
    if moving:
        before, after = _moved(moving, to)
        record(who=who, at=now, what="steps moved to a task", subject=subject_of(to), before=before, after=after)
    to.refresh_from_db(fields=["restoration"])
    return len(moving)


def _refuse_move(lines: Sequence[TaskStep], to: Task) -> None:
    if to.kind != Task.Kind.BIKE:
        said = _("“%(task)s” takes no other steps: its time is counted by itself.") % {"task": to}
        raise ValidationError(said, code="kept together")
    if Task.objects.filter(pk=to.pk, closed_at__isnull=False).exists():
        raise ValidationError(_("“%(task)s” is closed. Choose another one.") % {"task": to}, code="closed")
    done = Done.objects.filter(step__in=[line.step_id for line in lines], undone_at__isnull=True)
    past = set(done.values_list("step", "visit"))
    for line in lines:
        told = {"step": line.step, "part": line.step.part}
        if line.task.kind in KEPT_TOGETHER:
            said = _("“%(step)s” of %(part)s is done again there: its time counts as rework. It stays in its task.")
            raise ValidationError(said % told, code="kept together")
        if line.visit != line.step.visit or (line.step_id, line.visit) in past:
            said = _("“%(step)s” of %(part)s is done already: it stays where it was done.") % told
            raise ValidationError(said, code="done")


def _refuse_time_without_steps(left: Collection[int]) -> None:
    bare = Task.objects.filter(pk__in=left, lines__isnull=True)
    kept = with_time(bare.values_list("pk", flat=True))
    for task in bare.filter(pk__in=kept)[:1]:
        said = _("“%(task)s” has time on it, which would be for no step then. Leave one of its steps in it.")
        raise ValidationError(said % {"task": task}, code="time on it")


def _moved(lines: Sequence[TaskStep], to: Task) -> tuple[dict[str, object], dict[str, object]]:
    """What the journal says: the steps, and where each came from."""
    names = [{"name": f"{line.step.part}: {line.step}", "uid": line.step.uid} for line in lines]
    left = sorted({line.task.name for line in lines})
    return {"task": ", ".join(left)}, {"task": to.name, "steps": names}


@transaction.atomic
def change_task(
    *, task: Task, changes: Mapping[str, object], seen: Mapping[str, object], who: str, now: datetime
) -> Task:
    """Change ``name`` or ``alone`` together, or neither; ``seen`` as the person saw them."""
    for field in ("name", "alone"):
        if field in changes:
            value = changes[field]
            _change(task, field, value.strip() if isinstance(value, str) else value, seen[field], who=who, now=now)
    return task


@transaction.atomic
def rename(*, task: Task, name: str, seen: str, who: str, now: datetime) -> Task:
    """Call a task something else; ``seen`` is the name the person saw."""
    return _change(task, "name", name.strip(), seen, who=who, now=now)


@transaction.atomic
def set_alone(*, task: Task, alone: bool, seen: bool, who: str, now: datetime) -> Task:
    """Say whether it takes one person at a time; ``seen`` is what the person saw. Who is on it already stays."""
    return _change(task, "alone", alone, seen, who=who, now=now)


def _change(task: Task, field: str, value: object, seen: object, *, who: str, now: datetime) -> Task:
    if value == seen:
        return task
    setattr(task, field, value)
    task.full_clean(exclude={one.name for one in Task._meta.fields} - {field, "kind", "closed_at"})
    if not Task.objects.filter(pk=task.pk, **{field: seen}).update(**{field: value}):
        task.refresh_from_db(fields=[field])
        raise ChangedMeanwhileError(field, getattr(task, field))
    subject = subject_of(task)
    record(who=who, at=now, what="task changed", subject=subject, before={field: seen}, after={field: value})
    return task


@transaction.atomic
def close_task(*, task: Task, who: str, now: datetime) -> Task:
    """Take a task off the list. Refused while somebody is on it or something in it is still to be done."""
    for pk in sorted(set(task.lines.values_list("step__part__restoration", flat=True))):
        hold_scope(pk)
    task.refresh_from_db()
    if task.closed_at is not None:
        return task
    if on_tasks().get(task.pk):
        raise ValidationError(_("Somebody is on this task. Let them take themselves off first."), code="somebody on it")
    if open_lines(task).exists() or task.remedies.filter(done_at__isnull=True).exists():
        said = _("There is still something to do in it. Move its steps to another task first.")
        raise ValidationError(said, code="not done")
    task.closed_at = now
    task.save(update_fields=["closed_at"])
    record(who=who, at=now, what="task closed", subject=subject_of(task), before={"name": task.name})
    return task


def open_lines(task: Task) -> QuerySet[TaskStep]:
    """Lines of a task whose step is on a route and not done on that visit, which is its present one."""
    done = Done.objects.filter(step=OuterRef("step"), visit=OuterRef("visit"), undone_at__isnull=True)
    live = {"step__removed_at__isnull": True, "step__part__removed_at__isnull": True}
    return task.lines.filter(~Exists(done), visit=F("step__visit"), **live)


@transaction.atomic
def indirect_task(*, name: str, who: str, now: datetime) -> Task:
    """Something to book time on that is for no bike."""
    task = Task(kind=Task.Kind.INDIRECT, name=name.strip(), made_at=now)
    task.full_clean()
    task.save()
    if who:
        record(who=who, at=now, what="task made", subject=subject_of(task), after={"name": task.name})
    return task


def remedies_of(task: Task, works: Sequence[Operation | Service]) -> list[Remedy]:
    """Save what has to be done before the steps of ``task`` can begin again, in order."""
    rows = [Remedy(task=task, position=place, **_as_work(work)) for place, work in enumerate(works, start=1)]
    return Remedy.objects.bulk_create(rows)


def _as_work(work: Operation | Service) -> Mapping[str, Operation | Service]:
    return {"operation": work} if isinstance(work, Operation) else {"service": work}
