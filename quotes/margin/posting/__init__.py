"""Facts become cost entries. `everything` looks at what is new since it looked last, and is safe to repeat.

Nothing pushes: the sweep posts where something moved on, and a close posts before it takes up. Pages read what is posted.
"""

import json
from datetime import datetime

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from quotes.margin import budgets
from quotes.margin.models import Mark
from quotes.margin.posting import labour, material, orders, vendors
from quotes.margin.posting.kept import LOCK, Kept, hold
from shop.floor.models import Clocking, Correction, Tap
from shop.floor.selectors import LIVE
from shop.journal.models import Entry
from shop.routes.models import Done


def everything(*, now: datetime) -> Kept:
    """Post what is not posted yet, some at a time; how many entries were made. One at a time: a second one waits."""
    found, behind = Kept(), True
    while behind:
        with transaction.atomic():
            hold()
            standing = _standing(now)
            budgets.mend(now=now)
            for source in (labour, vendors, orders, material):
                found += source.post(now=now)
            behind = labour.is_behind()
            Mark.objects.filter(source=LOCK).update(at=now, waiting=standing)
    return found


def mend(*, now: datetime) -> None:
    """Post where anything moved on since costs were posted last; looks in seven queries, and opens no transaction to look."""
    mark = Mark.objects.filter(source=LOCK).first()
    if mark is None or mark.waiting != _standing(now):
        everything(now=now)


def posted_at() -> datetime | None:
    """Up to when costs are posted."""
    mark = Mark.objects.filter(source=LOCK).first()
    return mark.at if mark else None


def _standing(now: datetime) -> str:
    """What has moved when something could cost other than it did: taps, corrections, steps done, everything in the journal, who is
    on what, the day. Read before the facts are: what moves meanwhile is looked at again.
    """
    heads = [model.objects.aggregate(last=Max("pk"))["last"] or 0 for model in (Clocking, Tap, Correction, Done, Entry)]
    running = sorted(Clocking.objects.filter(LIVE, ended_at__isnull=True).values_list("pk", flat=True))
    return json.dumps([*heads, running, timezone.localdate(now).isoformat()])
