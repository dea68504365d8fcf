"""Vendor work as cost: counted when something came back, at the agreed price until the charge is here.

A lot costs its charge, its share of the trip, and the handling rate on the charge; its lines share that by what the vendor's
price goes by. What a claim brought in is taken off.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Q
from django.utils import timezone

from quotes.engine.errors import BadInput
from quotes.engine.inputs import Measure
from quotes.engine.money import rounded, shared_out
from quotes.engine.visits import handled, quantity
from quotes.margin.models import CostEntry
from quotes.margin.models.entries import STANDING
from quotes.margin.posting.kept import Cost, Kept, chunks, exact, mark_of
from quotes.margin.posting.kept import post as keep
from quotes.margin.posting.labour import nature_of, not_in_a_quote
from quotes.margin.posting.rates import Layings
from shop.rates.models import ServicePrice
from shop.routes.selectors import as_measured
from shop.vendor_jobs.models import Claim, Job, Line
from shop.vendor_jobs.prices import by_the_book, charged, standing_charges

SOURCE, CLAIM = CostEntry.Source.VENDOR, CostEntry.Source.CLAIM
Nature = CostEntry.Nature
CAME = (Line.Outcome.GOOD, Line.Outcome.REJECTED)
#: Whatever changed since that long before the last look is looked at again.
OVERLAP = timedelta(days=1)


def post(*, now: datetime) -> Kept:
    """Post what came back or was charged since the last look, and what was only agreed until now."""
    mark = mark_of(SOURCE)
    since = mark.at - OVERLAP if mark.at else None
    found = Kept()
    for keys in chunks(_changed(since)):
        found += keep(SOURCE, _costs(keys), now=now)
    found += keep(CLAIM, _claims(since), now=now)
    mark.at = now
    mark.save()
    return found


def _changed(since: datetime | None) -> set[int]:
    rows = Job.objects.filter(sent_on__isnull=False)
    if since is None:
        return set(rows.values_list("pk", flat=True))
    later = Q(lines__settled_at__gte=since) | Q(charges__at__gte=since)
    open_ones = CostEntry.objects.filter(STANDING, source=SOURCE, provisional=True)
    agreed_only = set(open_ones.values_list("source_id", flat=True))
    return agreed_only | set(rows.filter(later).values_list("pk", flat=True))


def _costs(keys: Sequence[int]) -> dict[int, Sequence[Cost]]:
    jobs = Job.objects.filter(pk__in=keys).select_related("service__vendor").prefetch_related("charges")
    lines = _lines(keys)
    ours = not_in_a_quote([line.step.uid for found in lines.values() for line in found])
    trips, layings = _trips({job.service_id for job in jobs}), Layings()
    found: dict[int, Sequence[Cost]] = {}
    for job in jobs:
        costs = _job(job, lines.get(job.pk, []), trips.get(job.service_id, []), layings)
        found[job.pk] = [
            Cost(
                on=on,
                nature=nature_of(Nature.FIRST, visit=line.visit, ours=line.step.uid in ours),
                restoration_id=line.step.part.restoration_id,
                step_uid=(line.step.split_from or line.step).uid,
                visit=line.visit,
                quantity=exact(share.own),
                whole=exact(share.whole),
                vendor_minor=share.charge,
                handling_minor=share.handling,
                provisional=provisional,
            )
            for line, share, on, provisional in costs
        ]
    return found


def _lines(jobs: Iterable[int]) -> dict[int, list[Line]]:
    """Job to the lines that went with it. One query."""
    found: dict[int, list[Line]] = defaultdict(list)
    rows = Line.objects.filter(job__in=list(jobs)).exclude(outcome=Line.Outcome.NOT_SENT).order_by("pk")
    steps = ("step__part__size_class", "step__part__restoration", "step__service", "step__split_from")
    for line in rows.select_related(*steps):
        found[line.job_id].append(line)
    return found


@dataclass(frozen=True, slots=True)
class _Share:
    """What of a lot is one line's: ``own`` of the ``whole`` [measure], its ``charge``, its ``handling`` with the trip [minor units]."""

    own: Decimal
    whole: Decimal
    charge: int
    handling: int


def _job(
    job: Job, lines: Sequence[Line], trips: Sequence[tuple[date, Decimal]], layings: Layings
) -> list[tuple[Line, _Share, date, bool]]:
    """Each line of a lot with its share, the day of it, and whether it is only agreed so far; nothing while nothing came back."""
    came = [line for line in lines if line.outcome in CAME and line.back_on]
    net, provisional = charged(job), False
    bills = [row.on for row in standing_charges(job)]
    if net is None:
        if not came:
            return []
        net, provisional = job.agreed_minor, True
        if net is None and job.sent_on is not None:
            with suppress(BadInput):
                net = by_the_book(job.service, [line.step for line in lines], on=job.sent_on)
        provisional = bool(net) or job.redo_of_id is None  # what is done again free is never charged
    on = min((line.back_on for line in came if line.back_on), default=None) or max(bills)
    weights = _weights(lines, Measure(job.service.measure))
    trip = next((cost for day, cost in reversed(trips) if job.sent_on and day <= job.sent_on), Decimal(0))
    order = [f"{place:06}" for place in range(len(lines))]
    charges = shared_out(Decimal(net or 0), weights, order, digits=0)
    roads = shared_out(rounded(trip, digits=0), weights, order, digits=0)
    whole = sum(weights, Decimal(0))
    found = []
    for line, own, charge, road in zip(lines, weights, charges, roads, strict=True):
        rate = layings.of(line.step.part.restoration_id, on).handling
        together = rounded(handled(charge=charge, trip=road, rate=rate), digits=0)
        found.append((line, _Share(own, whole, int(charge), int(together - charge)), on, provisional))
    return found


def _weights(lines: Iterable[Line], measure: Measure) -> list[Decimal]:
    found = []
    for line in lines:
        weight = Decimal(0)
        with suppress(BadInput):
            weight = quantity(*as_measured(line.step), measure)
            if measure is not Measure.BATCH and line.step.part.pieces:
                weight *= Decimal(line.pieces) / line.step.part.pieces  # what went, not what the part has by now
        found.append(weight)
    return found if all(found) else [Decimal(line.pieces) for line in lines]


def _trips(services: Iterable[int]) -> dict[int, list[tuple[date, Decimal]]]:
    """Service to what a lot's share of a trip cost from a day on [minor units]. One query."""
    found: dict[int, list[tuple[date, Decimal]]] = defaultdict(list)
    rows = ServicePrice.objects.filter(service__in=list(services)).order_by("valid_from", "revision")
    for service, day, trip, share in rows.values_list("service", "valid_from", "trip_minor", "trip_share"):
        found[service].append((day, Decimal(trip) * share))
    return found


def _claims(since: datetime | None) -> dict[int, Sequence[Cost]]:
    """What vendors and insurers paid for claims."""
    rows = Claim.objects.filter(settled_at__isnull=False, payer__in=[Claim.Payer.VENDOR, Claim.Payer.INSURER])
    if since is not None:
        rows = rows.filter(settled_at__gte=since)
    rows = rows.exclude(settled_minor=0).select_related("line__step__part", "line__step__split_from")
    return {
        row.pk: [
            Cost(
                on=timezone.localdate(row.settled_at),
                nature=Nature.AGAIN,
                restoration_id=row.line.step.part.restoration_id,
                step_uid=(row.line.step.split_from or row.line.step).uid,
                visit=row.line.visit,
                vendor_minor=-(row.settled_minor or 0),
            )
        ]
        for row in rows
    }


def agreed_shares(restorations: Sequence[int]) -> list[tuple[int, str, int]]:
    """Of what is out now and not charged: restoration, step uid, its share of the price agreed [minor units]. Three queries."""
    rows = Line.objects.filter(
        step__part__restoration__in=restorations,
        outcome="",
        job__sent_on__isnull=False,
        job__agreed_minor__isnull=False,
    )
    jobs = {
        job.pk: job
        for job in Job.objects.filter(pk__in=rows.values("job")).select_related("service").prefetch_related("charges")
    }
    wanted, found = set(restorations), []
    for pk, of_job in _lines(jobs).items():
        if charged(jobs[pk]) is not None or any(line.outcome in CAME for line in of_job):
            continue  # it is posted as a whole
        weights = _weights(of_job, Measure(jobs[pk].service.measure))
        order = [f"{place:06}" for place in range(len(of_job))]
        shares = shared_out(Decimal(jobs[pk].agreed_minor or 0), weights, order, digits=0)
        found += [
            (line.step.part.restoration_id, str((line.step.split_from or line.step).uid), int(share))
            for line, share in zip(of_job, shares, strict=True)
            if line.outcome == Line.Outcome.OPEN and line.step.part.restoration_id in wanted
        ]
    return found
