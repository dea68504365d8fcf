"""Some pieces of a part go their own way: what comes back short, or has to be done again, does not hold up the rest.

They become a part of their own with a copy of every step. What is done already is done for them too, so that they can be sent
back to it. Nothing about the price changes, nor what is agreed: see `splits`. So the scope version stays.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.restorations.models import Part
from shop.restorations.services import hold_part, place_after, refuse_out_of_scope
from shop.routes.graph import Graph, graph
from shop.routes.models import Authorisation, Done, Step, TaskStep
from shop.routes.tasks import form_tasks

LONGEST_NAME = 100
THOUSANDTH = Decimal("0.001")
#: What a copy does not take over from its step.
STEP_STAYS = {"id", "uid", "part", "back_to", "split_from", "quantity"}
PART_STAYS = {"id", "uid", "position", "name", "pieces", "split_from", "removed_at"}


@transaction.atomic
def split_part(*, part: Part, pieces: int, who: str, now: datetime) -> Part:
    """Let ``pieces`` of a part go their own way from now on; the part they become."""
    hold_part(part)
    refuse_out_of_scope(part)
    if not 0 < pieces < part.pieces:
        said = _("It has %(pieces)s pieces. Give at least 1, and leave at least 1 behind.")
        raise ValidationError({"pieces": said % {"pieces": part.pieces}}, code="pieces")
    found = graph({part.restoration_id})
    new = _new_part(part, pieces)
    new.save()
    steps = found.routes[part.pk]
    _copy_steps(steps, new, share=Decimal(pieces) / part.pieces, found=found)
    part.pieces -= pieces
    part.save(update_fields=["pieces"])
    after = {"pieces": part.pieces, "split off": {"name": new.name, "uid": new.uid}}
    record(
        who=who,
        at=now,
        what="part split",
        subject=subject_of(part),
        before={"pieces": part.pieces + pieces},
        after=after,
    )
    form_tasks(restoration=part.restoration, now=now)
    return new


def _new_part(part: Part, pieces: int) -> Part:
    origin = part.split_from or part
    others = list(origin.split_into.all())
    whole = origin.pieces + sum(one.pieces for one in others if one.removed_at is None)
    kept = {f.attname: getattr(part, f.attname) for f in Part._meta.concrete_fields if f.name not in PART_STAYS}
    name = _("%(part)s (%(pieces)s of %(whole)s, split %(count)s)")
    told = {"part": origin.name, "pieces": pieces, "whole": whole, "count": len(others) + 1}
    name = name % told if others else _("%(part)s (%(pieces)s of %(whole)s)") % told
    return Part(
        position=place_after(part.restoration, part),
        name=name if len(name) <= LONGEST_NAME else name[-LONGEST_NAME:],
        pieces=pieces,
        split_from=origin,
        **kept,
    )


def _copy_steps(steps: Sequence[Step], part: Part, *, share: Decimal, found: Graph) -> None:
    """The steps of a route for the pieces that go, as far as they are: done, authorised, in the task they are in."""
    made = {step.pk: _copied(step, part, share) for step in steps}
    Step.objects.bulk_create(made.values())
    for step in steps:
        if step.back_to_id in made:
            made[step.pk].back_to = made[step.back_to_id]
    Step.objects.bulk_update(made.values(), ["back_to"])
    Step.objects.bulk_update([step for step in steps if step.quantity is not None], ["quantity"])
    _authorise_alike(steps, made)
    done = [row for pk in made if (row := found.dones.get(pk))]
    Done.objects.bulk_create(Done(step=made[row.step_id], visit=row.visit, at=row.at, who=row.who) for row in done)
    lines = TaskStep.objects.filter(step__in=made, visit=F("step__visit"), task__closed_at__isnull=True)
    lines = lines.exclude(step__in=[row.step_id for row in done])
    TaskStep.objects.bulk_create(TaskStep(task_id=x.task_id, step=made[x.step_id], visit=x.visit) for x in lines)


def _copied(step: Step, part: Part, share: Decimal) -> Step:
    """A copy; a quantity said for the step is shared by pieces, to the thousandth, so that both are what it was."""
    kept = {f.attname: getattr(step, f.attname) for f in Step._meta.concrete_fields if f.name not in STEP_STAYS}
    quantity = None
    if step.quantity is not None:
        quantity = (step.quantity * share).quantize(THOUSANDTH, ROUND_HALF_UP)
        step.quantity -= quantity
    return Step(part=part, split_from_id=step.split_from_id or step.pk, quantity=quantity, **kept)


def _authorise_alike(steps: Iterable[Step], made: dict[int, Step]) -> None:
    own = {step.uid: made[step.pk].uid for step in steps}
    rows = Authorisation.objects.filter(step_uid__in=own)
    Authorisation.objects.bulk_create(
        Authorisation(step_uid=own[row.step_uid], kind=row.kind, reference=row.reference, at=row.at) for row in rows
    )


@transaction.atomic
def put_together(*, part: Part, who: str, now: datetime) -> Part:
    """Undo a split: the pieces of ``part`` go on with those they were split from, once both have come equally far."""
    hold_part(part)
    origin = part.split_from
    if origin is None:
        raise ValidationError(_("These pieces were not split from another part."), code="not split")
    if part.removed_at is not None:
        return origin
    refuse_out_of_scope(origin)
    found = graph({part.restoration_id})
    steps = {step.split_from_id: step for step in found.routes[part.pk]}
    _refuse_apart(found, steps, found.routes[origin.pk])
    for own in found.routes[origin.pk]:
        copy = steps.get(own.pk)
        if copy is not None and own.quantity is not None and copy.quantity is not None:
            own.quantity += copy.quantity
    Step.objects.bulk_update(found.routes[origin.pk], ["quantity"])
    Step.objects.filter(part=part, removed_at__isnull=True).update(removed_at=now)
    origin.pieces += part.pieces
    origin.save(update_fields=["pieces"])
    part.removed_at = now
    part.save(update_fields=["removed_at"])
    before = {"pieces": origin.pieces - part.pieces, "split off": {"name": part.name, "uid": part.uid}}
    subject = subject_of(origin)
    record(who=who, at=now, what="pieces put together", subject=subject, before=before, after={"pieces": origin.pieces})
    return origin


def _refuse_apart(found: Graph, copies: dict[int | None, Step], route: Sequence[Step]) -> None:
    """Put together, a step is done for all pieces or for none."""
    for own in route:
        copy = copies.get(own.pk)
        if found.is_out(own.pk) or (copy is not None and found.is_out(copy.pk)):
            said = _("“%(step)s” is out or on order. Put them together when it is back.")
            raise ValidationError(said % {"step": own}, code="out")
        if copy is None or (own.visit, own.pk in found.dones) != (copy.visit, copy.pk in found.dones):
            said = _("They have not come equally far yet: “%(step)s” differs. Bring both there first.")
            raise ValidationError(said % {"step": own}, code="apart")
