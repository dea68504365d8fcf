"""The sweep's part: once a minute one of many looks whether anything changed, and only then finds what is due."""

from datetime import datetime, timedelta

from django.db.models import Max
from django.utils import timezone

from shop.journal.models import Entry
from shop.outbox.models import Heartbeat
from shop.outbox.services import take_turn
from shop.routes.models import Plan
from shop.vendor_jobs.reminding import asking, telling
from shop.vendor_jobs.reminding.raising import raise_reminders

TURN, FOUND = "reminders", "reminders found"
EVERY = timedelta(minutes=1)
#: Found anew so often even where nothing seems to have changed.
AT_LEAST = timedelta(minutes=15)


def mend(*, now: datetime) -> None:
    """Raise what became true, settle what is so no more, then ask for mail. Few queries where nothing changed.

    Whoever dies between taking the turn and having found leaves no mark, and the next turn finds it.
    """
    if not take_turn(TURN, every=EVERY, now=now, by=""):
        return
    mark, last = _mark(now), Heartbeat.objects.filter(name=FOUND).first()
    if last is None or last.by != mark or abs(now - last.at) >= AT_LEAST:
        raise_reminders(now=now)
        Heartbeat.objects.update_or_create(name=FOUND, defaults={"at": now, "by": mark})
    telling.mend(now=now)
    asking.mend(now=now)


def _mark(now: datetime) -> str:
    """What stands still while no event can become true: the day, the last change told in the journal, the last plan made."""
    entry = Entry.objects.aggregate(last=Max("pk"))["last"]
    planned = Plan.objects.aggregate(last=Max("made_at"))["last"]
    return f"{timezone.localdate(now)} {entry} {planned.timestamp() if planned else ''}"
