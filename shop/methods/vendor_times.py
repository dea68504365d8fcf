"""Writes on when vendors work: weekdays, whose holidays they keep, days on the way, days on which they are shut."""

from collections.abc import Iterable
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from quotes.engine.errors import BadInput
from shop.journal.services import record, subject_of
from shop.methods.models import Vendor, VendorClosure
from shop.people.calendars import holidays
from shop.people.times import refuse_wrong_days

WEEKDAYS = "1234567"


@transaction.atomic
def set_vendor_times(
    *,
    vendor: Vendor,
    works_on: Iterable[str],
    country: str,
    subdivision: str,
    transport_days: int,
    who: str,
    now: datetime,
) -> Vendor:
    """``works_on`` are digits of weekdays, 1 being Monday. Raises `ValidationError` at the wrong field."""
    digits = "".join(digit for digit in WEEKDAYS if digit in set(works_on))
    if not digits:
        raise ValidationError({"works_on": _("This vendor has no working day. Tick one day at least.")})
    fields = {
        "works_on": digits,
        "country": country.strip().upper(),
        "subdivision": subdivision.strip().upper(),
        "transport_days": transport_days,
    }
    before = {field: getattr(vendor, field) for field in fields}
    for field, value in fields.items():
        setattr(vendor, field, value)
    vendor.full_clean()
    try:
        if vendor.country:
            holidays(vendor.country, vendor.subdivision, now.year)
    except BadInput as error:
        raise ValidationError({"country": error.sentence(_(error.template))}) from None
    vendor.save(update_fields=list(fields))
    record(who=who, at=now, what="vendor's days set", subject=subject_of(vendor), before=before, after=fields)
    return vendor


@transaction.atomic
def close_vendor(*, vendor: Vendor, first: date, last: date, reason: str, who: str, now: datetime) -> VendorClosure:
    """A vendor does not work from ``first`` to ``last``, both included."""
    refuse_wrong_days(first, last, today=now.date())
    row = VendorClosure(vendor=vendor, first=first, last=last, reason=reason.strip())
    row.full_clean()
    row.save()
    _record_closure(row, "vendor's closure noted", who=who, now=now)
    return row


@transaction.atomic
def open_vendor_again(*, closure: VendorClosure, who: str, now: datetime) -> None:
    """Take a closure back."""
    _record_closure(closure, "vendor's closure taken back", who=who, now=now)
    closure.delete()


def _record_closure(row: VendorClosure, what: str, *, who: str, now: datetime) -> None:
    told = {"first day": row.first, "last day": row.last, "reason": row.reason}
    record(who=who, at=now, what=what, subject=subject_of(row.vendor), after=told)
