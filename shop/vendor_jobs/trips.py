"""A trip on a day: what to take to which vendor and what to fetch there, ticked on the way."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db import transaction
from django.db.models import Q

from shop.journal.services import record, subject_of
from shop.methods.models import Vendor
from shop.vendor_jobs.models import Job, Line, Promise, Tick
from shop.vendor_jobs.sending import held_back
from shop.vendor_jobs.standing import with_lines


@dataclass(frozen=True, slots=True)
class Load:
    """A lot to take along or to fetch; ``tick`` is there once that was done on this trip.

    ``held`` says what holds back a lot that has not left, so that nobody loads it for nothing.
    """

    job: Job
    kind: str
    tick: Tick | None
    held: Sequence[str] = ()

    @property
    def lines(self) -> Sequence[Line]:
        """What of it is to be carried."""
        rows: list[Line] = self.job.shown  # type: ignore[attr-defined]  # `with_lines` hung them there
        return [line for line in rows if line.outcome == Line.Outcome.OPEN]

    @property
    def promise(self) -> Promise | None:
        """The day we were told last."""
        told: list[Promise] = self.job.told  # type: ignore[attr-defined]  # `with_lines` hung them there
        return told[-1] if told else None


@dataclass(slots=True)
class Stop:
    """A vendor on the way."""

    vendor: Vendor
    takes_in: bool
    take: list[Load] = field(default_factory=list)
    fetch: list[Load] = field(default_factory=list)


def trip(on: date, *, now: datetime) -> list[Stop]:
    """By vendor: lots that are to go by that day or whose day nobody said, and lots that are due by it.

    So many queries for each bike that has something to go. What was ticked on that day stays on the list, whatever became of it since.
    """
    ticks = {(row.job_id, row.kind): row for row in Tick.objects.filter(on=on)}
    to_go = Q(sent_on__isnull=True, cancelled_at__isnull=True) & (Q(leave_on__isnull=True) | Q(leave_on__lte=on))
    out = Q(sent_on__isnull=False, back_on__isnull=True)
    ticked = Q(pk__in={job for job, _kind in ticks})
    rows = with_lines(Job.objects.filter(to_go | out | ticked)).select_related("service__vendor__terms")
    jobs = list(rows.order_by("service__vendor__name", "number"))
    held = _held(jobs, now)
    stops: dict[int, Stop] = {}
    for job in jobs:
        for kind in (Tick.Kind.TAKE, Tick.Kind.FETCH):
            load = Load(job, kind, ticks.get((job.pk, kind)), held.get(job.pk, ()))
            if load.tick is None and not _is_due(load, on):
                continue
            stop = stops.setdefault(job.vendor.pk, Stop(job.vendor, takes_in(job.vendor, on)))
            (stop.take if kind == Tick.Kind.TAKE else stop.fetch).append(load)
    return list(stops.values())


def _held(jobs: Sequence[Job], now: datetime) -> Mapping[int, Sequence[str]]:
    to_go = [(job, Load(job, Tick.Kind.TAKE, None).lines) for job in jobs if not (job.sent_on or job.cancelled_at)]
    return held_back([(job, lines) for job, lines in to_go if lines], now=now)


def _is_due(load: Load, on: date) -> bool:
    job = load.job
    if load.kind == Tick.Kind.TAKE:
        return job.sent_on is None and job.cancelled_at is None and bool(load.lines)
    told = load.promise
    return job.sent_on is not None and job.back_on is None and told is not None and told.due_on <= on


def takes_in(vendor: Vendor, on: date) -> bool:
    """Whether it takes work in on that weekday."""
    terms = getattr(vendor, "terms", None)
    return terms is None or str(on.isoweekday()) in terms.takes_in_on


@transaction.atomic
def set_tick(*, job: Job, on: date, kind: str, ticked: bool, who: str, now: datetime) -> None:
    """Tick that a lot was taken along or fetched on the trip of a day, or untick it. Said twice, it is kept once."""
    Job.objects.select_for_update().get(pk=job.pk)
    row = Tick.objects.filter(job=job, on=on, kind=kind).first()
    if (row is not None) == ticked:
        return
    told = {"on the trip of": on, "what": str(Tick.Kind(kind).label)}
    if row is None:
        made = Tick(job=job, on=on, kind=kind, at=now, who=who)
        made.full_clean(exclude={"job"})
        made.save(force_insert=True)
        record(who=who, at=now, what="ticked on a trip", subject=subject_of(job), after=told)
    else:
        row.delete()
        record(who=who, at=now, what="unticked on a trip", subject=subject_of(job), before=told)
