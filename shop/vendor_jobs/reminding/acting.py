"""What a person does about a reminder: put it off until a day, call it done, note the new day that was told."""

from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.vendor_jobs.buying import told_it_comes
from shop.vendor_jobs.models import Kind, Order, Promise, Reminder
from shop.vendor_jobs.reminding.words import sentence
from shop.vendor_jobs.sending import Told, told_new_day

#: What a new day told answers.
OF_THE_DAY = (Kind.DUE_SOON, Kind.DUE_TODAY, Kind.OVERDUE, Kind.CLOSED_DAY)
#: Nobody puts anything off for longer.
LONGEST = timedelta(days=366)

Settled = Reminder.Settled


@transaction.atomic
def snooze(*, reminder: Reminder, until: date, who: str, now: datetime) -> Reminder:
    """Out of sight until a day, then there again. Raises at ``until`` for a day that is no day to come."""
    today = timezone.localdate(now)
    if until <= today:
        raise ValidationError({"until": _("Give a day to come, on which it is told again.")}, code="past")
    if until > today + LONGEST:
        raise ValidationError({"until": _("That is more than a year away. Give an earlier day.")}, code="far")
    row = _held(reminder)
    if row.settled != Settled.OPEN or row.snoozed_until == until:
        return row
    before = {"put off until": row.snoozed_until}
    row.snoozed_until = until
    row.save(update_fields=["snoozed_until"])
    after = {"put off until": until, "reminder": sentence(row, today)}
    record(who=who, at=now, what="reminder put off", subject=subject_of(row), before=before, after=after)
    return row


@transaction.atomic
def done(*, reminder: Reminder, who: str, now: datetime) -> Reminder:
    """Somebody has seen to it. Done already, or settled by what happened, nothing changes.

    What climbs still climbs: only what happens keeps the manager from hearing of it.
    """
    row = _held(reminder)
    if row.settled == Settled.OPEN:
        _settle(row, Settled.DONE, who=who, now=now)
    return row


@transaction.atomic
def told(*, reminder: Reminder, to: Told, told_on: date, note: str = "", who: str, now: datetime) -> Promise:
    """The vendor said a new day: it is noted with the job, and all that reminded of the old one is settled.

    Raises a `ValidationError` at the field, or where the reminder is not about a lot that is out.
    """
    row = _held(reminder)
    if row.job is None or row.kind not in OF_THE_DAY:
        raise ValidationError(_("This is not about a lot that is out, so no day is told."), code="no day")
    promise = told_new_day(job=row.job, told=to, told_on=told_on, note=note, who=who, now=now)
    same = Reminder.objects.select_for_update().filter(job=row.job, kind__in=OF_THE_DAY, settled=Settled.OPEN)
    for one in same.order_by("pk"):
        _settle(one, Settled.TOLD, who=who, now=now)
    return promise


@transaction.atomic
def told_of_order(*, reminder: Reminder, due_on: date, said_by: str, who: str, now: datetime) -> Order:
    """The supplier said a new day: it is noted with the order, and all that reminded of the old one is settled.

    Raises a `ValidationError` at the field, or where the reminder is not about an order.
    """
    row = _held(reminder)
    if row.order is None:
        raise ValidationError(_("This is not about an order, so no day is told."), code="no day")
    if due_on < timezone.localdate(now):
        raise ValidationError({"due_on": _("That day has passed. Give the day on which it comes now.")}, code="past")
    order = told_it_comes(order=row.order, due_on=due_on, said_by=said_by, who=who, now=now)
    same = Reminder.objects.select_for_update().filter(order=order, kind=Kind.ORDER_LATE, settled=Settled.OPEN)
    for one in same.order_by("pk"):
        _settle(one, Settled.TOLD, who=who, now=now)
    return order


def _held(reminder: Reminder) -> Reminder:
    rows = Reminder.objects.select_for_update(of=("self",)).select_related(
        "vendor", "job__service__vendor", "order__supplier", "step__part", "step__service__vendor", "step__operation"
    )
    return rows.get(pk=reminder.pk)


def _settle(row: Reminder, how: str, *, who: str, now: datetime) -> None:
    row.settled, row.settled_at, row.settled_by = how, now, who
    row.save(update_fields=["settled", "settled_at", "settled_by"])
    after = {"settled": how, "reminder": sentence(row, timezone.localdate(now))}
    record(who=who, at=now, what="reminder settled", subject=subject_of(row), before={"settled": ""}, after=after)
