"""Taking back, on the same day, that something has to be done again: a slip of the finger is no rework."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.floor.models import Checked, Clocking, Rework
from shop.journal.services import record, subject_of
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, has_role
from shop.restorations.services import hold_scope
from shop.routes.not_again import not_again as open_no_more


@transaction.atomic
def not_again(*, rework: Rework, person: User, now: datetime) -> None:
    """Take it back: by who said so, the desk or the manager, on the same day, and only while nothing was done on it.

    Pieces that went their own way stay apart; they can be put together where parts are split.
    """
    hold_scope(rework.step.part.restoration_id)
    rework.refresh_from_db()
    _refuse(rework, person, now)
    step, task = rework.step, rework.task
    before = {"part": step.part.name, "cause": rework.cause.name, "pieces": rework.pieces}
    rework.delete()
    open_no_more(task=task, who=person.username, now=now)
    record(who=person.username, at=now, what="rework taken back", subject=subject_of(step), before=before)


def _refuse(rework: Rework, person: User, now: datetime) -> None:
    if timezone.localdate(rework.at) != timezone.localdate(now):
        said = _("It was said on another day, so it stays. What is done again is said as done.")
        raise ValidationError(said, code="another day")
    if rework.person_id != person.pk and not has_role(person, ROLE_DESK, ROLE_MANAGER):
        said = _("%(person)s said so. They can take it back themselves, or the front desk can.")
        raise ValidationError(said % {"person": rework.person}, code="somebody else")
    if Clocking.objects.filter(task=rework.task_id).exists():
        raise ValidationError(_("Somebody has worked on it already, so it stays."), code="clocked")
    lines = rework.task.lines.values_list("step", "visit")
    if any(Checked.objects.filter(step=step, visit=visit).exists() for step, visit in lines):
        raise ValidationError(_("Something of it was checked already, so it stays."), code="checked")
    if Rework.objects.filter(step__part=rework.step.part_id, pk__gt=rework.pk).exists():
        raise ValidationError(_("It was sent back once more since. Take that back first."), code="opened since")
