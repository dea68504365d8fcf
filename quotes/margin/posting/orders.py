"""Bought-in parts as cost: once they are here, at the price ordered until the bill says another; less what old parts bring.

Packs for the shelf are no cost of a bike: they are stock until a step uses them. Replacements of scrapped pieces cost what the
desk said of them.
"""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from django.utils import timezone

from quotes.engine.money import rounded
from quotes.margin.models import CostEntry
from quotes.margin.models.entries import STANDING
from quotes.margin.posting.kept import Cost, Kept, chunks, mark_of
from quotes.margin.posting.kept import post as keep
from quotes.margin.posting.labour import nature_of, not_in_a_quote
from quotes.margin.posting.vendors import OVERLAP
from shop.floor.models import Rework
from shop.vendor_jobs.models import CoreReturn, Ordered

SOURCE, CORE, REPLACED = CostEntry.Source.ORDER, CostEntry.Source.CORE, CostEntry.Source.REPLACED
Nature = CostEntry.Nature


def post(*, now: datetime) -> Kept:
    mark = mark_of(SOURCE)
    since = mark.at - OVERLAP if mark.at else None
    found = Kept()
    for keys in chunks(_changed(since)):
        found += keep(SOURCE, _costs(keys), now=now)
    found += keep(CORE, _cores(), now=now)
    found += keep(REPLACED, _replaced(), now=now)
    mark.at = now
    mark.save()
    return found


def _changed(since: datetime | None) -> set[int]:
    rows = Ordered.objects.filter(step__isnull=False).exclude(outcome="")
    if since is not None:
        rows = rows.filter(settled_at__gte=since)
    open_ones = CostEntry.objects.filter(STANDING, source=SOURCE, provisional=True)
    return set(rows.values_list("pk", flat=True)) | set(open_ones.values_list("source_id", flat=True))


def _costs(keys: Sequence[int]) -> dict[int, Sequence[Cost]]:
    rows = list(
        Ordered.objects.filter(pk__in=keys, step__isnull=False).select_related("step__part", "step__split_from")
    )
    ours = not_in_a_quote([row.step.uid for row in rows if row.step])
    found: dict[int, Sequence[Cost]] = {}
    for row in rows:
        assert row.step is not None
        found[row.pk] = []
        if row.outcome == Ordered.Outcome.HERE and row.came_on is not None:
            ordered = int(rounded(row.quantity * Decimal(row.price_minor), digits=0))
            amount = ordered if row.charged_minor is None else row.charged_minor
            cost = Cost(
                on=row.came_on,
                nature=nature_of(Nature.FIRST, visit=row.visit, ours=row.step.uid in ours),
                restoration_id=row.step.part.restoration_id,
                step_uid=(row.step.split_from or row.step).uid,
                visit=row.visit,
                bought_in_minor=amount,
                provisional=row.charged_minor is None,
            )
            found[row.pk] = [cost]
    return found


def _cores() -> dict[int, Sequence[Cost]]:
    """What was given for old parts. There are few, and when the sum came is not kept: all are looked at."""
    rows = CoreReturn.objects.filter(credited_minor__isnull=False, credited_on__isnull=False)
    return {
        row.pk: [
            Cost(
                on=row.credited_on,
                nature=Nature.FIRST,
                restoration_id=row.step.part.restoration_id,
                step_uid=(row.step.split_from or row.step).uid,
                bought_in_minor=-row.credited_minor,
            )
        ]
        for row in rows.select_related("step__part", "step__split_from")
        if row.credited_on is not None and row.credited_minor
    } | {row.pk: [] for row in rows if not row.credited_minor}


def _replaced() -> dict[int, Sequence[Cost]]:
    """What replacing scrapped pieces cost, as the desk said: it may say so long after."""
    rows = Rework.objects.filter(replacement_minor__isnull=False).select_related(
        "step__part", "step__split_from", "came_from"
    )
    return {
        row.pk: [
            Cost(
                on=timezone.localdate(row.at),
                nature=Nature.AGAIN,
                restoration_id=row.step.part.restoration_id,
                step_uid=(row.step.split_from or row.step).uid,
                visit=row.visit,
                cause_id=row.cause_id,
                origin_uid=(row.came_from or row.step).uid,
                bought_in_minor=row.replacement_minor or 0,
            )
        ]
        if row.replacement_minor
        else []
        for row in rows
    }
