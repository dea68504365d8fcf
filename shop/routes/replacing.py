"""Replacing a stretch for good: what waited for its steps, and what they waited for, goes to the new ones.

A removed step keeps its waits and the ways back to it, so that bringing it back restores them; `selectors.scope` reads
past it meanwhile. Only when another stretch takes its place do they move, each to the step that does the same work at
the same place, so that the same finish chosen again finds everything as it was.
"""

from collections.abc import Mapping
from datetime import datetime

from django.db.models import Q

from shop.restorations.models import Part
from shop.routes.laying import Laid, save_laid
from shop.routes.models import Step, Wait

Place = tuple[int | None, int | None, int]


def replace(part: Part, origin: Step.Origin, laid: Laid, *, now: datetime) -> bool:
    """Lay ``laid`` in place of a stretch; whether waits moved, so that somebody must look for circles."""
    live = part.steps.filter(origin=origin, removed_at__isnull=True)
    gone = set(live.values_list("pk", flat=True))
    live.update(removed_at=now)
    new = save_laid(laid)
    if not new:
        return False
    old = list(part.steps.filter(origin=origin, removed_at__isnull=False))
    twins = {_place(step): step for step in new}
    _send_back(part, old, twins, first=new[0])
    on = {step.pk: twins.get(_place(step), new[-1]).pk for step in old}
    of = {step.pk: twins[_place(step)].pk for step in _latest(old, gone) if _place(step) in twins}
    return _move_waits(on, of)


def _place(step: Step) -> Place:
    return (step.operation_id, step.service_id, step.position)


def _latest(old: list[Step], gone: set[int]) -> list[Step]:
    """The steps replaced: those just removed, or where there were none those that went last."""
    if gone:
        return [step for step in old if step.pk in gone]
    last = max((step.removed_at for step in old if step.removed_at), default=None)
    return [step for step in old if step.removed_at == last]


def _send_back(part: Part, old: list[Step], twins: Mapping[Place, Step], *, first: Step) -> None:
    """A failure that sent the part back into the old stretch sends it into the new one."""
    targets = {step.pk: twins.get(_place(step), first) for step in old}
    later = [step for step in part.steps.filter(back_to__in=old) if step.origin != first.origin]
    for step in later:
        assert step.back_to_id is not None
        step.back_to = targets[step.back_to_id]
    Step.objects.bulk_update(later, ["back_to"])


def _move_waits(on: Mapping[int, int], of: Mapping[int, int]) -> bool:
    """Waits on the steps of ``on``, and waits of the steps of ``of``, go to the steps given there."""
    found = Wait.objects.filter(Q(on__in=on) | Q(step__in=of)).order_by("pk")
    moved = [wait for wait in found if wait.step_id in of or wait.step_id not in on]
    pairs = [(of.get(wait.step_id, wait.step_id), on.get(wait.on_id, wait.on_id)) for wait in moved]
    Wait.objects.filter(pk__in=[wait.pk for wait in moved]).delete()
    Wait.objects.bulk_create(
        (Wait(step_id=step, on_id=target) for step, target in pairs if step != target), ignore_conflicts=True
    )
    return bool(moved)
