"""What is at a vendor now, and all that it did for us. Read only."""

from django.db.models import Prefetch, QuerySet

from shop.methods.models import Vendor
from shop.vendor_jobs.models import Job, Line
from shop.vendor_jobs.standing import with_lines


def there(vendor: Vendor) -> QuerySet[Line]:
    """Lines that are there, lost ones too, each with its job and part; one query."""
    rows = Line.objects.filter(
        job__service__vendor=vendor,
        job__sent_on__isnull=False,
        outcome__in=[Line.Outcome.OPEN, Line.Outcome.LOST],
    )
    return rows.select_related("job", "step__part__restoration__machine").order_by("job", "step__part__position", "pk")


def jobs(vendor: Vendor) -> QuerySet[Job]:
    """Its jobs, the newest first; a page of them takes five queries however many there are."""
    every = Line.objects.exclude(outcome=Line.Outcome.NOT_SENT).select_related("step__part")
    rows = with_lines(Job.objects.filter(service__vendor=vendor)).order_by("-number")
    return rows.prefetch_related(Prefetch("lines", every, to_attr="every"), "charges")
