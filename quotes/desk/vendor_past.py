"""What is at a vendor now, and all that it did for us. Read only."""

from django.db.models import Prefetch, QuerySet

from shop.methods.models import Vendor
from shop.vendor_jobs.models import Job, Line


def there(vendor: Vendor) -> QuerySet[Line]:
    """Lines that are there, lost ones too, each with its job and part; one query."""
    rows = Line.objects.filter(
        job__service__vendor=vendor,
        job__sent_on__isnull=False,
        outcome__in=[Line.Outcome.OPEN, Line.Outcome.LOST],
    )
    return rows.select_related("job", "step__part__restoration__machine").order_by("job", "step__part__position", "pk")


def jobs(vendor: Vendor) -> QuerySet[Job]:
    """Its jobs, the newest first; a page of them takes three queries however many there are.

    Only what a line of the list says is read: with all of a bike behind each part the page took twice as long.
    """
    lines = (
        Line.objects.order_by("pk").select_related("step__part").only("job", "pieces", "outcome", "step__part__name")
    )
    rows = Job.objects.filter(service__vendor=vendor).select_related("service").order_by("-number")
    return rows.prefetch_related(Prefetch("lines", lines, to_attr="every"), "charges")
