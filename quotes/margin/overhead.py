"""What the shop spent that is for no one bike: noted when the bill is here, reversed where it was wrong."""

from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.margin.models import Overhead
from shop.journal.services import record, subject_of


@transaction.atomic
def note(*, words: str, net_minor: int, on: date, who: str, now: datetime) -> Overhead:
    """Note what was spent [minor units before tax]. Raises at the field."""
    if on > timezone.localdate(now):
        raise ValidationError({"on": _("That day is still to come. Give the date on the bill.")}, code="to come")
    row = Overhead(words=words.strip(), net_minor=net_minor, on=on, at=now, recorded_by=who)
    row.full_clean()
    row.save(force_insert=True)
    after = {"what for": row.words, "amount minor": net_minor, "dated": on}
    record(who=who, at=now, what="overhead noted", subject=subject_of(row), after=after)
    return row


@transaction.atomic
def reverse(*, overhead: Overhead, who: str, now: datetime) -> Overhead:
    """Take one back by a row of its own. Taken back already, nothing changes."""
    row = Overhead.objects.select_for_update().get(pk=overhead.pk)
    if row.reverses_id is not None:
        raise ValidationError(_("That takes one back itself. Note it again instead."), code="reversal")
    known = Overhead.objects.filter(reverses=row).first()
    if known is not None:
        return known
    back = Overhead.objects.create(
        words=row.words,
        net_minor=-row.net_minor,
        on=timezone.localdate(now),
        reverses=row,
        at=now,
        recorded_by=who,
    )
    before = {"what for": row.words, "amount minor": row.net_minor}
    record(who=who, at=now, what="overhead taken back", subject=subject_of(row), before=before)
    return back


def standing() -> QuerySet[Overhead]:
    """What stands, the newest first."""
    return Overhead.objects.filter(reverses__isnull=True, reversed_by__isnull=True).order_by("-on", "-pk")
