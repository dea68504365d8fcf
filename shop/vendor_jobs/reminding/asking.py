"""A line to a vendor who agreed to it: when will the lot be ready? Once for each day told, and only where the terms say so."""

from collections.abc import Iterable
from datetime import date, datetime

from django.conf import settings
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from shop.outbox import mail
from shop.outbox.handlers import Delivery, NotSentError
from shop.outbox.selectors import asked_for
from shop.outbox.services import publish
from shop.people.models import Shop
from shop.vendor_jobs.models import Job, Kind, Promise, Reminder
from shop.vendor_jobs.reminding.rules import quiet
from shop.vendor_jobs.reminding.telling import may_tell

HANDLER = "question to a vendor"
#: What a vendor is asked about.
ASKED = (Kind.DUE_SOON, Kind.DUE_TODAY, Kind.OVERDUE)


def mend(*, now: datetime) -> None:
    """Ask for the mail of what is due and was not asked about, on days and at hours that are not quiet."""
    if not mail.configured() or not may_tell(quiet(), now):
        return
    wanted = {f"ask/{job.uid}/{promise}": (job, promise) for job, promise in _due()}
    asked = asked_for(HANDLER, list(wanted))
    missing = {key: pair for key, pair in wanted.items() if key not in asked}
    if missing:
        with transaction.atomic():
            for key, (job, promise) in missing.items():
                payload = {"job": job.pk, "promise": promise}
                publish(key=key, handler=HANDLER, payload=payload, due_at=now, now=now)


def _due() -> Iterable[tuple[Job, int]]:
    """Lots that are out and reminded of, at vendors who are written to, with the day told last. One query."""
    reminded = Reminder.objects.filter(job=OuterRef("pk"), kind__in=ASKED, settled=Reminder.Settled.OPEN)
    for job in _written_to().filter(Exists(reminded)).order_by("pk"):
        promise: int | None = job.promise  # type: ignore[attr-defined]  # as annotated
        if promise is not None:
            yield job, promise


def _written_to() -> QuerySet[Job]:
    latest = Promise.objects.filter(job=OuterRef("pk")).order_by("-pk")
    rows = Job.objects.filter(sent_on__isnull=False, back_on__isnull=True, service__vendor__terms__mails=True)
    rows = rows.exclude(service__vendor__email="").annotate(
        promise=Subquery(latest.values("pk")[:1]),
        due_on=Subquery(latest.values("due_on")[:1]),
    )
    return rows.select_related("service__vendor")


def prepare(delivery: Delivery) -> mail.Letter | None:
    """The question; None where the lot is back, another day was told meanwhile, or the vendor is not written to any more."""
    job = _written_to().filter(pk=delivery.payload["job"]).first()
    if job is None or job.promise != delivery.payload["promise"]:  # type: ignore[attr-defined]  # as annotated
        return None
    if not mail.configured():
        raise NotSentError(_("No mail server is set up."))
    shop, today = Shop.objects.first(), timezone.localdate(delivery.now)
    due_on: date = job.due_on  # type: ignore[attr-defined]  # as annotated
    with translation.override(settings.LANGUAGE_CODE):
        told = {"lot": job, "service": job.service.name, "day": date_format(due_on, "DATE_FORMAT")}
        if due_on < today:
            said = _("our lot %(lot)s (%(service)s) was due on %(day)s. Could you tell us when we may fetch it?") % told
        else:
            said = (
                _("our lot %(lot)s (%(service)s) is due on %(day)s. Could you tell us whether it will be ready?") % told
            )
        name = shop.name if shop else ""
        return mail.Letter(
            to=job.service.vendor.email,
            subject=_("Lot %(lot)s, due on %(day)s") % told,
            text=f"{_('Good day,')}\n\n{said}\n\n{_('Thank you.')}\n{name}\n",
            sender_name=name,
            reply_to=shop.email if shop else "",
        )
