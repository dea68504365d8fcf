"""Doing it again: the steps from one to another are open anew, in one task of their own with what has to come off first.

What was done stays on record, on its visit. Vendor work in between has to go out again; what was bought is here already.
"""

from collections.abc import Sequence
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.methods.models import Operation, Service
from shop.restorations.services import hold_scope
from shop.routes.models import Step, Task, TaskStep
from shop.routes.progress import Look, look
from shop.routes.tasks import remedies_of


def ways_back(found: Look, step: Step) -> list[Step]:
    """The steps that ``step`` can send its part back to: those of its route up to itself, without what is bought."""
    route = found.graph.routes.get(step.part_id, [])
    return [one for one in route if one.position <= step.position and (one.pk == step.pk or not one.buy)]


@transaction.atomic
def again(*, step: Step, back_to: Step, remedies: Sequence[Operation | Service], who: str, now: datetime) -> Task:
    """Open the steps of a part from ``back_to`` to ``step`` anew; the task they are done again in, ``remedies`` first.

    ``step`` is done, or it is its turn: what has not been reached cannot be done again. Those after it stay as they are.
    """
    pk = step.part.restoration_id
    hold_scope(pk)
    found = look({pk}, now=now)
    _refuse(found, step, back_to)
    route = found.graph.routes[step.part_id]
    opened = [
        one for one in route if back_to.position <= one.position <= step.position and _is_opened(found, one, step)
    ]
    for one in opened:
        one.visit += 1
    Step.objects.bulk_update(opened, ["visit"])
    task = _task(found.graph.steps[step.pk], now)
    remedies_of(task, remedies)
    TaskStep.objects.bulk_create(TaskStep(task=task, step=one, visit=one.visit) for one in opened if one.operation_id)
    after = {
        "part": step.part.name,
        "goes back to": str(back_to),
        "steps": [{"name": str(one), "uid": one.uid} for one in opened],
        "remedies": ", ".join(str(work) for work in remedies),
    }
    record(who=who, at=now, what="step done again", subject=subject_of(step), after=after)
    step.visit = found.graph.steps[step.pk].visit
    return task


def _refuse(found: Look, step: Step, back_to: Step) -> None:
    if step.pk not in found.states or back_to.pk not in found.states:
        raise ValidationError(_("This step is off the route. Bring it back first."), code="off the route")
    if back_to.part_id != step.part_id or back_to.position > step.position:
        said = _("It goes back to an earlier step of its own route. Choose one above.")
        raise ValidationError({"back_to": said}, code="not back")
    if step.buy:
        raise ValidationError(_("What is bought is not done again. Choose the step that failed."), code="bought")
    state = found.states[step.pk]
    if state.done is None and not state.is_ready:
        said = _("It is not the turn of “%(step)s” yet, so it cannot be done again. %(why)s")
        told = {"step": step, "why": " ".join(state.sentences)}
        raise ValidationError(said % told, code="not reached")


def _is_opened(found: Look, one: Step, step: Step) -> bool:
    """What was done is done again. What is open in between, since it came onto the route later, is open anyway."""
    return one.pk == step.pk or (one.pk in found.graph.dones and not one.buy)


def _task(step: Step, now: datetime) -> Task:
    return Task.objects.create(
        kind=Task.Kind.REWORK,
        name=(_("Again: %(part)s, %(step)s") % {"part": step.part, "step": step})[:120],
        restoration_id=step.part.restoration_id,
        area_name=step.part.area_name,
        place=step.operation.place if step.operation else None,
        grade=step.operation.grade if step.operation else None,
        origin_uid=step.uid,
        made_at=now,
    )
