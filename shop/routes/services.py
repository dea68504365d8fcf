"""Writes on steps: adding, changing, moving, taking off and bringing back; waits; authorising."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.journal.telling import named, told
from shop.methods.models import Operation, Service
from shop.restorations.models import Part
from shop.restorations.services import change_scope, hold_part, hold_scope, refuse_out_of_scope, set_fields
from shop.routes.laying import FIRST, GAP
from shop.routes.models import Authorisation, Step, Wait
from shop.routes.order import refuse_circles
from shop.routes.splits import with_copies

STEP_FIELDS = (
    "quantity",
    "fail_chance",
    "scrap_chance",
    "replacement_minor",
    "buy",
    "buy_source",
    "buy_price_minor",
    "buy_handling",
    "buy_status",
    "buy_said_by",
    "buy_said_on",
    "buy_valid_until",
    "buy_searching_since",
    "buy_core_minor",
    "buy_core_by",
    "back_to",
)


def _hold(step: Step) -> None:
    """Hold the restoration of ``step`` and read the step anew: what a page brought along may be old."""
    hold_scope(step.part.restoration_id)
    known = Step.objects.select_related("part__restoration", "operation", "service", "back_to")
    step.refresh_from_db(from_queryset=known)


def _refuse_off_route(step: Step) -> None:
    """Nothing about a step changes while its part is out of scope or it is off its route."""
    refuse_out_of_scope(step.part)
    if step.removed_at is not None:
        raise ValidationError(_("This step is off the route. Bring it back first."), code="off the route")


@transaction.atomic
def add_step(
    *,
    part: Part,
    origin: Step.Origin,
    operation: Operation | None = None,
    service: Service | None = None,
    buy: str = "",
    who: str,
    now: datetime,
    **fields: Any,
) -> Step:
    """Add a step at the end of a stretch of ``part``'s route."""
    hold_part(part)
    refuse_out_of_scope(part)
    change_scope(part.restoration)
    last = part.steps.filter(origin=origin, removed_at__isnull=True).order_by("-position").first()
    step = Step(
        part=part,
        position=last.position + GAP if last else FIRST[origin],
        origin=origin,
        operation=operation,
        service=service,
        buy=buy.strip(),
        **fields,
    )
    step.full_clean(exclude={"part", "position"}, validate_unique=False)
    step.save()
    record(who=who, at=now, what="step added", subject=subject_of(step), after={"part": part.name, "step": str(step)})
    return step


@transaction.atomic
def change_step(
    *, step: Step, who: str, now: datetime, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None
) -> Step:
    """Change fields of ``STEP_FIELDS``; ``seen`` as in `change_part`. Where nothing differs, nothing is written."""
    _hold(step)
    _refuse_off_route(step)
    before = set_fields(step, changes=changes, seen=seen, allowed=STEP_FIELDS)
    if not before:
        return step
    if "back_to" in before:
        _refuse_way_forward(step)
    step.save(update_fields=list(before))
    change_scope(step.part.restoration)
    after = {field: changes[field] for field in before}
    record(who=who, at=now, what="step changed", subject=subject_of(step), before=told(before), after=told(after))
    return step


def _refuse_way_forward(step: Step) -> None:
    back = step.back_to
    if back is None:
        return
    if back.part_id != step.part_id or back.position > step.position or back.removed_at is not None:
        raise ValidationError(
            {"back_to": _("A failed step sends the part back to an earlier step of its own route. Choose one above.")}
        )


@transaction.atomic
def remove_step(*, step: Step, who: str, now: datetime) -> Step:
    """Take a step off its route; `bring_back_step` undoes it. Off already, nothing changes.

    What waits for it, and what goes back to it, stays on record; until it is back, the step before it stands in.
    """
    _hold(step)
    if step.removed_at is not None:
        return step
    refuse_out_of_scope(step.part)
    change_scope(step.part.restoration)
    step.removed_at = now
    step.save(update_fields=["removed_at"])
    record(who=who, at=now, what="step removed", subject=subject_of(step), before=_as_it_stood(step))
    return step


def _as_it_stood(step: Step) -> dict[str, object]:
    """A step of a finish belongs on a route only while the part has that finish."""
    of_finish = {Step.Origin.FINISH: step.part.agreed_finish, Step.Origin.STRIP: step.part.old_finish}
    finish = of_finish.get(Step.Origin(step.origin))
    return {"step": str(step), "part": step.part.name} | ({"finish": named(finish)} if finish else {})


@transaction.atomic
def bring_back_step(*, step: Step, who: str, now: datetime) -> Step:
    """Undo a removal: the same uid returns at its place, or right after what took it. On the route, nothing changes.

    Refused when its waits would be a circle by now. A way back that would lead forward by now is dropped.
    """
    _hold(step)
    refuse_out_of_scope(step.part)
    if step.removed_at is None:
        return step
    restoration = step.part.restoration
    change_scope(restoration)
    step.position = _free_from(step)
    if step.back_to is not None and step.back_to.position > step.position:
        step.back_to = None
    step.removed_at = None
    step.save(update_fields=["removed_at", "position", "back_to"])
    refuse_circles(restoration)
    record(
        who=who,
        at=now,
        what="step brought back",
        subject=subject_of(step),
        after={"step": str(step), "part": step.part.name},
    )
    return step


def _free_from(step: Step) -> int:
    """The first place at or after that of ``step`` that no step on the route holds."""
    later = step.part.steps.filter(removed_at__isnull=True, position__gte=step.position)
    taken = set(later.values_list("position", flat=True))
    place = step.position
    while place in taken:
        place += 1
    return place


@transaction.atomic
def move_step(*, step: Step, earlier: bool, who: str, now: datetime) -> Step:
    """Swap a step with its neighbour in the same stretch.

    Refused when a way back would then lead forward, or when steps would wait for each other in a circle.
    """
    _hold(step)
    _refuse_off_route(step)
    restoration = step.part.restoration
    change_scope(restoration)
    near = _neighbour(step, earlier=earlier)
    here, there = step.position, near.position
    for one, position in ((step, 0), (near, here), (step, there)):
        Step.objects.filter(pk=one.pk).update(position=position)
    if Step.objects.filter(pk__in=(step.pk, near.pk), back_to__position__gt=F("position")).exists():
        raise ValidationError(_("The later step sends the part back to the earlier one. Change that first."))
    refuse_circles(restoration)
    step.position = there
    record(who=who, at=now, what="step moved", subject=subject_of(step), before={"place": here}, after={"place": there})
    return step


def _neighbour(step: Step, *, earlier: bool) -> Step:
    live = step.part.steps.filter(removed_at__isnull=True, origin=step.origin).order_by("position")
    near = (
        live.filter(position__lt=step.position).last() if earlier else live.filter(position__gt=step.position).first()
    )
    if near is None:
        raise ValidationError(
            _("This step stands at that end already. It moves only among the steps under the same heading.")
        )
    return near


@transaction.atomic
def wait_for(*, step: Step, on: Step, again: bool = False, who: str, now: datetime) -> Wait:
    """Let ``step`` wait for ``on``. A circle of waits is refused, named part by part.

    ``again`` brings back a wait that was there: it may be for a step that went off its route meanwhile.
    """
    _hold(step)
    on.refresh_from_db(from_queryset=Step.objects.select_related("part", "operation", "service"))
    for one in (step,) if again else (step, on):
        _refuse_off_route(one)
    restoration = step.part.restoration
    if on.part.restoration_id != restoration.pk:
        raise ValidationError(_("A step can only wait for a step of the same restoration."))
    change_scope(restoration)
    wait = Wait(step=step, on=on)
    wait.full_clean(validate_unique=False)
    wait.save()
    refuse_circles(restoration)
    record(who=who, at=now, what="wait added", subject=subject_of(step), after=_awaited(on))
    return wait


@transaction.atomic
def stop_waiting(*, wait: Wait, who: str, now: datetime) -> None:
    """Remove a wait. Removed already, nothing changes."""
    _hold(wait.step)
    if not Wait.objects.filter(pk=wait.pk).exists():
        return
    _refuse_off_route(wait.step)
    change_scope(wait.step.part.restoration)
    record(
        who=who,
        at=now,
        what="wait removed",
        subject=subject_of(wait.step),
        before=_awaited(wait.on),
    )
    wait.delete()


def _awaited(on: Step) -> dict[str, object]:
    return {"waits for": {"name": f"{on.part}: {on}", "uid": on.uid}}


@transaction.atomic
def authorise(*, step_uids: Iterable[UUID], kind: Authorisation.Kind, reference: str, now: datetime) -> int:
    """Authorise steps that are not authorised yet, and their copies on parts split off; the number that became so."""
    wanted = with_copies(step_uids)
    known = set(Authorisation.objects.filter(step_uid__in=wanted).values_list("step_uid", flat=True))
    rows = [Authorisation(step_uid=uid, kind=kind, reference=reference, at=now) for uid in sorted(wanted - known)]
    Authorisation.objects.bulk_create(rows)
    return len(rows)
