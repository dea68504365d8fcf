"""How a job went week by week: what had to be done by the plan that was accepted, what was earned, what it cost."""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Sum
from django.utils import timezone

from quotes.engine.margin.earned import Progress, Week, course
from quotes.engine.money import from_minor, places
from quotes.margin import weeks
from quotes.margin.jobs import Job
from quotes.margin.models import AMOUNTS, CostEntry
from shop import currency
from shop.routes.models import Done

#: So many weeks are told at most, the last ones.
MOST = 104


@dataclass(frozen=True, slots=True)
class Point:
    """A job at the end of a week."""

    sunday: date
    progress: Progress


def course_of(job: Job, *, today: date) -> list[Point]:
    """The weeks of a job from its first cost or its first step done; nothing before either. Two queries."""
    spent = _spent(job)
    done = _done(job)
    days = [*spent, *done.values()]
    if not days:
        return []
    first, last = weeks.week_of(min(days)), weeks.week_of(today)
    mondays = [first + timedelta(days=7 * number) for number in range((last - first).days // 7 + 1)]
    sundays = [weeks.last_day(monday) for monday in mondays]
    told = (
        Week(
            job.budget,
            due={uid for uid, by in job.due.items() if by <= sunday},
            done={uid for uid, on in done.items() if on <= sunday},
            actual=sum((amount for on, amount in spent.items() if on <= sunday), Decimal(0)),
        )
        for sunday in sundays
    )
    return [Point(sunday, progress) for sunday, progress in zip(sundays, course(told), strict=True)][-MOST:]


def _spent(job: Job) -> dict[date, Decimal]:
    """Day to what was spent on it [money]."""
    digits = places(currency.code())
    rows = CostEntry.objects.filter(restoration=job.restoration).order_by().values_list("on")
    found = rows.annotate(*(Sum(name) for name in AMOUNTS))
    return {on: from_minor(sum(amounts), digits=digits) for on, *amounts in found}


def _done(job: Job) -> dict[str, date]:
    """Step uid to the day on which it was first done for all its pieces."""
    counted = {item.uid for item in job.spent if item.done}
    rows = Done.objects.filter(step__part__restoration=job.restoration, undone_at__isnull=True).order_by("-at")
    pieces: dict[tuple[str, str], date] = {}
    for uid, origin, at in rows.values_list("step__uid", "step__split_from__uid", "at"):
        pieces[str(origin or uid), str(uid)] = timezone.localdate(at)
    found: dict[str, date] = {}
    for (whole, _piece), on in pieces.items():
        if whole in counted:
            found[whole] = max(found.get(whole, on), on)
    return found
