"""Small jobs that walk in at the door: agreed at the counter, done as a task, paid on a day.

Mechanics see the name of the task. What was agreed, and with whom, is the desk's alone.
"""

from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.floor.models import WalkIn
from shop.journal.services import record, subject_of
from shop.routes.models import Task
from shop.routes.tasks import close_task, make_task


@transaction.atomic
def note_walk_in(
    *,
    what: str,
    customer: str,
    agreed_minor: int,
    agreed_on: date,
    phone: str = "",
    minutes: int | None = None,
    uid: UUID | None = None,
    who: str,
    now: datetime,
) -> WalkIn:
    """Keep a small job as it was agreed [minor units with tax], and make its task. ``uid`` is that of the form, kept once."""
    before = WalkIn.objects.filter(uid=uid).first() if uid else None
    if before is not None:
        return before
    if agreed_on > timezone.localdate(now):
        raise ValidationError({"agreed_on": _("This day is still to come. Give the day it was agreed.")})
    row = WalkIn(
        customer=customer.strip(),
        phone=phone.strip(),
        agreed_minor=agreed_minor,
        minutes=minutes,
        agreed_on=agreed_on,
        who=who,
        at=now,
    )
    row.uid = uid or row.uid
    row.full_clean(exclude={"task"})
    row.task = _task(what, who, now)
    row.save(force_insert=True)
    record(who=who, at=now, what="small job agreed", subject=subject_of(row.task), after=_told(row))
    return row


def _task(what: str, who: str, now: datetime) -> Task:
    try:
        return make_task(name=what, kind=Task.Kind.WALK_IN, who=who, now=now)
    except ValidationError as error:
        told = error.error_dict if hasattr(error, "error_dict") else {}
        raise ValidationError({"what": told["name"]} if "name" in told else error.messages) from None


def _told(row: WalkIn) -> dict[str, object]:
    told: dict[str, object] = {"customer": row.customer, "agreed minor": row.agreed_minor, "agreed on": row.agreed_on}
    return told | ({"minutes": row.minutes} if row.minutes else {}) | ({"phone": row.phone} if row.phone else {})


@transaction.atomic
def finish_walk_in(*, walk_in: WalkIn, who: str, now: datetime) -> WalkIn:
    """It is done: off the list of tasks. Refused while somebody is on it."""
    walk_in.task = close_task(task=walk_in.task, who=who, now=now)
    return walk_in


@transaction.atomic
def paid(*, walk_in: WalkIn, on: date | None, who: str, now: datetime) -> WalkIn:
    """The day it was paid on; None takes that back."""
    stored = WalkIn.objects.select_for_update().get(pk=walk_in.pk)
    if on is not None and on > timezone.localdate(now):
        raise ValidationError({"on": _("This day is still to come. Give the day it was paid.")})
    if on is not None and on < stored.agreed_on:
        raise ValidationError({"on": _("That is before it was agreed. Give the day it was paid.")})
    before, stored.paid_on = stored.paid_on, on
    stored.save(update_fields=["paid_on"])
    old, new, subject = {"paid on": before}, {"paid on": on}, subject_of(stored.task)
    record(who=who, at=now, what="small job paid", subject=subject, before=old, after=new)
    return stored


def walk_ins() -> QuerySet[WalkIn]:
    """All of them: those unpaid first, then the newest."""
    return WalkIn.objects.select_related("task").order_by(F("paid_on").asc(nulls_first=True), "-at", "-pk")
