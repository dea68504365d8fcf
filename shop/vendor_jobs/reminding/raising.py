"""Reminders are raised, and settled by what happened: rows are made what is true, by keys made from the events themselves."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import datetime
from itertools import islice

from django.db import transaction

from shop.journal.services import SYSTEM
from shop.vendor_jobs.models import Reminder
from shop.vendor_jobs.reminding.events import Event
from shop.vendor_jobs.reminding.finding import find

Settled = Reminder.Settled
#: So many keys or rows in one statement, below what SQLite takes.
AT_ONCE = 900


def raise_reminders(*, now: datetime) -> int:
    """Raise what became true since, settle what is so no more; how many rows changed. Nothing changed, nothing is written.

    What settled itself and is true again (an arrival that was a slip, a charge taken back) is open again; what a person
    settled stays so. Found by several at once, an event is still one row: its key is unique.
    """
    found = {one.key: one for one in find(now)}
    known = _known(found)
    new = [one for key, one in found.items() if key not in known]
    again = [key for key, settled in known.items() if settled == Settled.ITSELF]
    still_open = Reminder.objects.filter(settled=Settled.OPEN).values_list("key", flat=True)
    over = [key for key in still_open if key not in found]
    if not (new or again or over):
        return 0
    with transaction.atomic():
        Reminder.objects.bulk_create((_row(one, now) for one in new), ignore_conflicts=True, batch_size=AT_ONCE)
        _change(again, Settled.ITSELF, settled=Settled.OPEN, settled_at=None, settled_by="", snoozed_until=None)
        _change(over, Settled.OPEN, settled=Settled.ITSELF, settled_at=now, settled_by=SYSTEM)
    return len(new) + len(again) + len(over)


def _known(found: Mapping[str, Event]) -> dict[str, str]:
    """Key to how it was settled, of those that have a row."""
    known: dict[str, str] = {}
    for keys in _some(found):
        known.update(Reminder.objects.filter(key__in=keys).values_list("key", "settled"))
    return known


def _change(keys: Collection[str], was: str, **to: object) -> None:
    """Only rows that stand as they were looked at: a person may have been quicker."""
    for some in _some(keys):
        Reminder.objects.filter(key__in=some, settled=was).update(**to)


def _some(keys: Iterable[str]) -> Iterator[list[str]]:
    rest = iter(keys)
    while some := list(islice(rest, AT_ONCE)):
        yield some


def _row(one: Event, now: datetime) -> Reminder:
    return Reminder(
        key=one.key,
        kind=one.kind,
        level=one.level,
        role=one.role,
        vendor_id=one.vendor,
        job_id=one.job,
        order_id=one.order,
        step_id=one.step,
        restoration_id=one.restoration,
        about_on=one.about_on,
        raised_at=now,
    )
