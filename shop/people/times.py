"""Writes on when the workshop works: hours, whose holidays it keeps, how many people, and days on which it is shut."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from itertools import pairwise

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine.errors import BadInput
from shop.journal.services import record, subject_of
from shop.people.calendars import holidays
from shop.people.models import Break, Closure, Shop, ShopHours

Span = tuple[int, time, time]


@transaction.atomic
def set_working_times(
    *,
    country: str,
    subdivision: str,
    hands: int,
    productive: int,
    hours: Sequence[Span],
    who: str,
    now: datetime,
) -> Shop:
    """Say when the workshop is open (``hours`` of weekday, opens, closes), whose holidays it keeps, and who works on bikes.

    Raises `ValidationError` at the wrong field; then nothing is stored.
    """
    shop = Shop.objects.select_for_update().first() or Shop(name=_("This workshop"))
    fields = {
        "country": country.strip().upper(),
        "subdivision": subdivision.strip().upper(),
        "hands": hands,
        "productive": productive,
    }
    before = {field: getattr(shop, field) for field in fields} | {"hours": _told_hours(ShopHours.objects.all())}
    for field, value in fields.items():
        setattr(shop, field, value)
    shop.full_clean()
    _refuse_unknown_holidays(shop.country, shop.subdivision, now.date())
    rows = [ShopHours(weekday=day, opens=opens, closes=closes) for day, opens, closes in sorted(hours)]
    _refuse_wrong_hours(rows)
    shop.save()
    ShopHours.objects.all().delete()
    ShopHours.objects.bulk_create(rows)
    after = fields | {"hours": _told_hours(rows)}
    record(who=who, at=now, what="working times set", subject=subject_of(shop), before=before, after=after)
    return shop


def _told_hours(rows: Iterable[ShopHours]) -> str:
    return ", ".join(f"{row.weekday} {row.opens:%H:%M}-{row.closes:%H:%M}" for row in rows)


def _refuse_unknown_holidays(country: str, subdivision: str, today: date) -> None:
    try:
        if country:
            holidays(country, subdivision, today.year)
    except BadInput as error:
        raise ValidationError({"country": error.sentence(_(error.template))}) from None


def _refuse_wrong_hours(rows: Sequence[ShopHours]) -> None:
    if not rows:
        raise ValidationError({"hours": _("The workshop has no working day. Give hours on one day at least.")})
    for row in rows:  # the constraints look at the rows these replace
        row.clean_fields()
        if row.closes <= row.opens:
            raise ValidationError({"hours": _("It closes before it opens. Swap the times.")})
    for one, other in pairwise(rows):
        if one.weekday == other.weekday and other.opens < one.closes:
            raise ValidationError({"hours": _("Two spans of %(day)s overlap.") % {"day": one.get_weekday_display()}})


@transaction.atomic
def close_for(*, first: date, last: date, reason: str, who: str, now: datetime) -> Closure:
    """Shut the workshop from ``first`` to ``last``, both included."""
    row = Closure(first=first, last=last, reason=reason.strip())
    refuse_wrong_days(first, last, today=now.date())
    row.full_clean()
    row.save()
    _record_closure(row, "closure noted", who=who, now=now)
    return row


@transaction.atomic
def open_again(*, closure: Closure, who: str, now: datetime) -> None:
    """Take a closure back."""
    _record_closure(closure, "closure taken back", who=who, now=now)
    closure.delete()


#: Nobody shuts for longer than this.
LONGEST_CLOSURE = timedelta(days=366)


def refuse_wrong_days(first: date, last: date, *, today: date) -> None:
    """Raise `ValidationError` unless the days are in order, not all past, and not more than a year."""
    if last < first:
        raise ValidationError({"last": _("The last day is before the first. Swap them.")})
    if last < today:
        raise ValidationError({"last": _("These days are past. Give days to come.")})
    if last - first > LONGEST_CLOSURE:
        raise ValidationError({"last": _("That is more than a year. Give a nearer last day.")})


def _record_closure(row: Closure, what: str, *, who: str, now: datetime) -> None:
    shop = Shop.objects.first() or Shop.objects.create(name=_("This workshop"))
    told = {"first day": row.first, "last day": row.last, "reason": row.reason}
    record(who=who, at=now, what=what, subject=subject_of(shop), after=told)


@transaction.atomic
def add_break(*, name: str, begins: time, ends: time, paid: bool, who: str, now: datetime) -> Break:
    """A break of every working day from today on. Two never overlap: a minute is nobody's work once."""
    row = Break(name=name.strip(), begins=begins, ends=ends, paid=paid, since=timezone.localdate(now))
    row.full_clean()
    Shop.objects.select_for_update().first()
    for other in breaks():
        if other.begins < ends and begins < other.ends:
            raise ValidationError(
                {"span": _("It overlaps with “%(other)s”. Take that one away first.") % {"other": other}}
            )
    row.save()
    _record_break(row, "break added", who=who, now=now)
    return row


@transaction.atomic
def end_break(*, row: Break, who: str, now: datetime) -> None:
    """Have it no more from today on. What was clocked on earlier days is still read with it."""
    today = timezone.localdate(now)
    _record_break(row, "break taken away", who=who, now=now)
    if row.since == today:
        row.delete()
    else:
        Break.objects.filter(pk=row.pk, until__isnull=True).update(until=today)


def breaks() -> QuerySet[Break]:
    """Those of today and the days to come."""
    return Break.objects.filter(until__isnull=True)


def _record_break(row: Break, what: str, *, who: str, now: datetime) -> None:
    shop = Shop.objects.first() or Shop.objects.create(name=_("This workshop"))
    told = {"break": row.name, "hours": f"{row.begins:%H:%M}-{row.ends:%H:%M}", "paid": row.paid}
    record(who=who, at=now, what=what, subject=subject_of(shop), after=told)
