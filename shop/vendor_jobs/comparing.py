"""Vendors compared by what they did: days kept, lead times with those still out, rejects, losses, prices. Read only."""

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Exists, OuterRef, Prefetch

from quotes.engine.calendars import WorkingTime
from quotes.engine.chance.lead_times import Lead, Share, share, within
from shop.methods.calendars import vendor_calendars
from shop.methods.models import Service
from shop.people.models import Shop
from shop.vendor_jobs.models import Job, Line, Promise
from shop.vendor_jobs.prices import charged

#: How far back is looked: vendors change [days].
BACK = 730
LIKELY, MOSTLY = 0.5, 0.8
Outcome = Line.Outcome


@dataclass(frozen=True, slots=True)
class Compared:
    """What a service did since `BACK` days ago.

    ``on_time`` are the jobs back by the day first told, of those back or past it; ``likely`` and ``mostly`` the working days
    of the vendor, door to door, in which half and four in five are back, None while too many are out to say. ``over`` is
    how much more was charged than agreed [fraction], None while nothing is charged.
    """

    service: Service
    jobs: int
    out: int
    late: int
    on_time: Share
    likely: int | None
    mostly: int | None
    book: int
    faulty: Share
    pieces: int
    lost: int
    over: Decimal | None


def compared(*, today: date) -> list[Compared]:
    """Every service with a job in the last two years, by vendor and name, in a constant number of queries."""
    made = [_of(rows, days, today) for rows, days in _by_service(today)]
    return sorted(made, key=lambda one: (one.service.vendor.name, one.service.name))


def leads_by_service(*, today: date) -> list[tuple[Service, list[Lead]]]:
    """The same services with the lead times of all their lots [working days of the vendor, door to door]."""
    made = [(rows[0].service, _leads(rows, days, today)) for rows, days in _by_service(today)]
    return sorted(made, key=lambda one: (one[0].vendor.name, one[0].name))


def _by_service(today: date) -> list[tuple[list[Job], "_Days"]]:
    first = today - timedelta(days=BACK)
    jobs = list(_jobs(first))
    by_service: dict[int, list[Job]] = {}
    for job in jobs:
        by_service.setdefault(job.service_id, []).append(job)
    vendors = {job.service.vendor_id: job.service.vendor for job in jobs}
    calendars = vendor_calendars(vendors, shop=Shop.objects.first(), first=first)
    days = {calendar.key: _Days(WorkingTime(calendar, first.toordinal()), today) for calendar in calendars}
    return [(rows, days[str(rows[0].vendor.uid)]) for rows in by_service.values()]


def _leads(jobs: list[Job], days: "_Days", today: date) -> list[Lead]:
    return [Lead(days.between(job.sent_on, job.back_on or today), job.back_on is None) for job in jobs if job.sent_on]


def _jobs(first: date) -> Iterable[Job]:
    went = Line.objects.filter(job=OuterRef("pk")).exclude(outcome=Outcome.NOT_SENT)
    rows = Job.objects.filter(Exists(went), sent_on__gte=first).select_related("service__vendor")
    return rows.prefetch_related("lines", "charges", Prefetch("promises", Promise.objects.order_by("pk")))


class _Days:
    """Counts a vendor's working days."""

    def __init__(self, working: WorkingTime, today: date) -> None:
        self._days = working.days_until(today.toordinal() + 1)

    def between(self, sent: date, back: date) -> int:
        """Working days after ``sent`` up to ``back``."""
        return bisect_right(self._days, back.toordinal()) - bisect_right(self._days, sent.toordinal())


def _of(jobs: list[Job], days: _Days, today: date) -> Compared:
    service = jobs[0].service
    lines = [line for job in jobs for line in job.lines.all() if line.outcome != Outcome.NOT_SENT]
    leads = _leads(jobs, days, today)
    kept = [found for job in jobs if (found := _kept(job, today)) is not None]
    back = [job for job in jobs if job.back_on is not None]
    faulty = {Outcome.REJECTED, Outcome.DAMAGED, Outcome.LOST}
    return Compared(
        service=service,
        jobs=len(jobs),
        out=sum(job.back_on is None for job in jobs),
        late=sum(job.back_on is None and _is_late(job, today) for job in jobs),
        on_time=share(sum(kept), len(kept)),
        likely=within(leads, LIKELY),
        mostly=within(leads, MOSTLY),
        book=service.lead_days + 2 * service.vendor.transport_days,
        faulty=share(sum(any(line.outcome in faulty for line in job.lines.all()) for job in back), len(back)),
        pieces=sum(line.pieces for line in lines),
        lost=sum(line.pieces for line in lines if line.outcome == Outcome.LOST),
        over=_over(jobs),
    )


def _kept(job: Job, today: date) -> bool | None:
    """Whether it was back by the day first told; None where nobody told one, or it is not over yet."""
    promises = list(job.promises.all())
    if not promises:
        return None
    due = promises[0].due_on
    if job.back_on is None:
        return False if today > due else None
    return job.back_on <= due


def _is_late(job: Job, today: date) -> bool:
    promises = list(job.promises.all())
    return bool(promises) and today > promises[-1].due_on


def _over(jobs: list[Job]) -> Decimal | None:
    both = [(paid, job.agreed_minor) for job in jobs if job.agreed_minor and (paid := charged(job)) is not None]
    agreed = sum(agreed for _paid, agreed in both)
    return Decimal(sum(paid for paid, _agreed in both) - agreed) / agreed if agreed else None
