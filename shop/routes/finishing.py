"""A step is done for all its pieces, or not at all; what became ready with it; and taking back what was said by mistake."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, has_role
from shop.restorations.models import Restoration
from shop.restorations.services import hold_scope
from shop.routes.graph import Graph, graph
from shop.routes.models import Done, Remedy, Step
from shop.routes.progress import Cause, States, StepState, became_ready, states_of


@dataclass(slots=True)
class Finished:
    """What came of saying that steps are done: those that are, what became ready with them, and what holds the others."""

    done: list[Step] = field(default_factory=list)
    ready: list[Step] = field(default_factory=list)
    held: dict[int, list[ValidationError]] = field(default_factory=dict)


@transaction.atomic
def finish_step(*, step: Step, who: str, now: datetime) -> list[Step]:
    """Say that ``step`` is done on its present visit, for all its pieces; the steps that became ready with it.

    Also for vendor work that is back and for what was bought and is here. Done already, nothing changes. Raises a
    `ValidationError` with all that it waits for.
    """
    found = finish_steps(steps=[step], who=who, now=now)
    if step.pk in found.held:
        raise ValidationError(found.held[step.pk])
    return found.ready


@transaction.atomic
def finish_steps(*, steps: Sequence[Step], who: str, now: datetime) -> Finished:
    """`finish_step` for many: what holds one holds no other, and how the bike stands is looked at a few times, not for each.

    A step that waits only for another one of ``steps`` is done after it. What is done already is in neither list.
    """
    found = Finished()
    by_bike: dict[int, list[int]] = {}
    for step in steps:
        by_bike.setdefault(step.part.restoration_id, []).append(step.pk)
    for bike, wanted in sorted(by_bike.items()):
        _finish(_held(bike), wanted, found, who=who, now=now)
    return found


def _finish(restoration: Restoration, wanted: list[int], found: Finished, *, who: str, now: datetime) -> None:
    first = latest = states_of(restoration, now=now)
    left = [pk for pk in wanted if pk not in latest or not latest[pk].is_done]
    while possible := [pk for pk in left if pk in latest and latest[pk].may_be_done]:
        for pk in possible:
            found.done.append(_write(latest[pk].step, who=who, now=now))
        left = [pk for pk in left if pk not in possible]
        latest = states_of(restoration, now=now)
    for pk in left:
        found.held[pk] = _why(latest.get(pk))
    done = {step.pk for step in found.done}
    found.ready += [step for step in became_ready(first, latest) if step.pk not in done]


def _write(step: Step, *, who: str, now: datetime) -> Step:
    row = Done.objects.create(step=step, visit=step.visit, at=now, who=who)
    record(who=who, at=now, what="step done", subject=subject_of(step), after=_told(row))
    return step


def _why(state: StepState | None) -> list[ValidationError]:
    if state is None:
        return [ValidationError(_("This step is off the route. Bring it back first."), code="off the route")]
    return [ValidationError(one.at_the_bench, code=_code(one.cause)) for one in state.why]


def _code(cause: Cause) -> str:
    return "not authorised" if cause is Cause.AGREED else "not ready"


def _held(pk: int) -> Restoration:
    hold_scope(pk)
    return Restoration.objects.get(pk=pk)


def _told(row: Done) -> dict[str, object]:
    return {"part": row.step.part.name, "step": str(row.step)} | ({"visit": row.visit} if row.visit > 1 else {})


@transaction.atomic
def undo_done(*, step: Step, who: str, now: datetime) -> None:
    """Take back that ``step`` is done: on the same day, by who said so, the desk or the manager. Not done, nothing changes.

    Refused where something after it is done already.
    """
    hold_scope(step.part.restoration_id)
    found = graph({step.part.restoration_id})
    row = found.dones.get(step.pk)
    if row is None:
        return
    if timezone.localdate(row.at) != timezone.localdate(now):
        said = _("It was done on another day. If it has to be done again, say so there instead.")
        raise ValidationError(said, code="another day")
    if row.who != who and not _is_of_the_desk(who):
        said = _("%(who)s said that it is done. They can take it back themselves, or the front desk can.")
        raise ValidationError(said % {"who": row.who}, code="somebody else")
    _refuse_later_done(found, found.steps[step.pk])
    row.undone_at, row.undone_by = now, who
    row.save(update_fields=["undone_at", "undone_by"])
    record(who=who, at=now, what="step not done", subject=subject_of(step), before=_told(row))


def _is_of_the_desk(who: str) -> bool:
    user = User.objects.filter(username=who).first()
    return user is not None and has_role(user, ROLE_DESK, ROLE_MANAGER)


def _refuse_later_done(found: Graph, step: Step) -> None:
    for later in _later(found, step):
        if later.pk in found.dones and not later.buy:
            told = {"step": later, "part": later.part}
            said = _("“%(step)s” of %(part)s comes after it and is done already. Take that back first.")
            raise ValidationError(said % told, code="later is done")


def _later(found: Graph, step: Step) -> Iterable[Step]:
    """All that comes after it, on its own part and on others."""
    after, todo, seen = found.after(), [step.pk], {step.pk}
    while todo:
        for pk in after.get(todo.pop(), ()):
            if pk not in seen:
                seen.add(pk)
                todo.append(pk)
                yield found.steps[pk]


@transaction.atomic
def finish_remedy(*, remedy: Remedy, who: str, now: datetime) -> list[Step]:
    """Say that the work before a redo is done; the steps that became ready with it. Done already, nothing changes."""
    before, restoration = _before_remedy(remedy, now)
    if remedy.done_at is not None:
        return []
    remedy.done_at, remedy.done_by = now, who
    remedy.save(update_fields=["done_at", "done_by"])
    after = {"work": str(remedy), "task": remedy.task.name}
    record(who=who, at=now, what="remedy done", subject=subject_of(restoration), after=after)
    return became_ready(before, states_of(restoration, now=now))


@transaction.atomic
def undo_remedy(*, remedy: Remedy, who: str, now: datetime) -> None:
    """Take back that the work before a redo is done; refused once one of the steps it was for is done."""
    _before, restoration = _before_remedy(remedy, now)
    if remedy.done_at is None:
        return
    lines = remedy.task.lines.all()
    if any(Done.objects.filter(step=line.step_id, visit=line.visit, undone_at=None).exists() for line in lines):
        said = _("A step after it is done already. Take that back first.")
        raise ValidationError(said, code="later is done")
    remedy.done_at, remedy.done_by = None, ""
    remedy.save(update_fields=["done_at", "done_by"])
    before = {"work": str(remedy), "task": remedy.task.name}
    record(who=who, at=now, what="remedy not done", subject=subject_of(restoration), before=before)


def _before_remedy(remedy: Remedy, now: datetime) -> tuple[States, Restoration]:
    assert remedy.task.restoration_id is not None, "rework is of one bike"
    restoration = _held(remedy.task.restoration_id)
    remedy.refresh_from_db(fields=["done_at", "done_by"])
    return states_of(restoration, now=now), restoration
