"""What vendors charge: entered when the bill is here, never changed, reversed where it was wrong."""

from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.vendor_jobs.models import Charge, Job


@transaction.atomic
def enter_charge(*, job: Job, net_minor: int, document: str, on: date, who: str, now: datetime) -> Charge:
    """Enter what a vendor charged for a job [minor units before tax]. The same bill twice is refused, at the field."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.sent_on is None:
        said = _("%(job)s has not left yet, so nothing can be charged for it.") % {"job": job}
        raise ValidationError(said, code="not out")
    if on > timezone.localdate(now):
        raise ValidationError({"on": _("That day is still to come. Give the date on the bill.")}, code="to come")
    document = document.strip()
    same = Charge.objects.filter(job=job, document=document, net_minor=net_minor, reversed_by__isnull=True)
    if same.filter(reverses__isnull=True).exists():
        said = _("This bill is entered already. If it came twice, pay it once.")
        raise ValidationError({"document": said}, code="twice")
    row = Charge(job=job, net_minor=net_minor, document=document, on=on, at=now, recorded_by=who)
    row.full_clean(exclude={"job"})
    row.save(force_insert=True)
    after = {"charged minor": net_minor, "bill": document, "dated": on}
    record(who=who, at=now, what="charge entered", subject=subject_of(job), after=after)
    return row


@transaction.atomic
def reverse_charge(*, charge: Charge, who: str, now: datetime) -> Charge:
    """Take a charge back by a row of its own. Taken back already, nothing changes."""
    Job.objects.select_for_update().get(pk=charge.job_id)
    if charge.reverses_id is not None:
        raise ValidationError(_("That takes a charge back itself. Enter the charge again instead."), code="reversal")
    known = Charge.objects.filter(reverses=charge).first()
    if known is not None:
        return known
    row = Charge.objects.create(
        job=charge.job,
        net_minor=-charge.net_minor,
        document=charge.document,
        on=timezone.localdate(now),
        reverses=charge,
        at=now,
        recorded_by=who,
    )
    before = {"charged minor": charge.net_minor, "bill": charge.document}
    record(who=who, at=now, what="charge taken back", subject=subject_of(charge.job), before=before)
    return row
