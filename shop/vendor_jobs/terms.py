"""What stands between us and a vendor."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.journal.telling import told
from shop.methods.models import Vendor
from shop.vendor_jobs.models import Terms

WEEKDAYS = "1234567"


def terms_of(vendor: Vendor) -> Terms:
    """Its terms; those a vendor begins with, unsaved, where nobody has said any."""
    return Terms.objects.filter(vendor=vendor).first() or Terms(vendor=vendor)


@transaction.atomic
def set_terms(
    *,
    vendor: Vendor,
    takes_in_on: Iterable[str],
    insured_minor: int | None,
    claim_cap_minor: int | None,
    redo_free: bool,
    mails: bool,
    note: str,
    who: str,
    now: datetime,
) -> Terms:
    """Set all of a vendor's terms. ``takes_in_on`` are digits of weekdays, 1 being Monday. Raises at the field."""
    Vendor.objects.select_for_update().get(pk=vendor.pk)
    digits = "".join(digit for digit in WEEKDAYS if digit in set(takes_in_on))
    if not digits:
        raise ValidationError({"takes_in_on": _("It takes work in on no day. Tick one day at least.")})
    if mails and not vendor.email:
        raise ValidationError({"mails": _("There is no e-mail address of it. Give one first.")})
    row = terms_of(vendor)
    fields = {
        "takes_in_on": digits,
        "insured_minor": insured_minor,
        "claim_cap_minor": claim_cap_minor,
        "redo_free": redo_free,
        "mails": mails,
        "note": note.strip(),
    }
    before = {name: getattr(row, name) for name in fields}
    for name, value in fields.items():
        setattr(row, name, value)
    row.full_clean(exclude={"vendor"})
    row.save()
    record(
        who=who, at=now, what="vendor's terms set", subject=subject_of(vendor), before=told(before), after=told(fields)
    )
    return row
