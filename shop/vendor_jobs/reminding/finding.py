"""Finding what there is to be reminded of: reads the facts in a constant number of queries, writes and sends nothing."""

from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Exists, F, Max, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from quotes.engine import inputs
from shop.methods.calendars import vendor_calendars
from shop.methods.models import Vendor
from shop.people.calendars import shop_calendar
from shop.people.models import Shop
from shop.routes.models import Authorisation, Away, Done, PlannedStep, Source, Step
from shop.routes.settled import expected
from shop.vendor_jobs.models import CoreReturn, Job, Kind, Line, Order, Ordered, Promise
from shop.vendor_jobs.reminding import events
from shop.vendor_jobs.reminding.days import WorkingDays
from shop.vendor_jobs.reminding.events import About, Calendar, Event, Told
from shop.vendor_jobs.reminding.rules import Rules, rules
from shop.vendor_jobs.standing import Board, Leaving, Lot, board, without_charge

#: Closed days are looked up so far back: nothing is late for longer without having climbed as far as it can.
BACK = timedelta(days=400)


def find(now: datetime) -> list[Event]:
    """Every event that is true now, by the rules in force. Some thirty queries, however much there is."""
    said, out = rules(), list(_out())
    days = _calendar(timezone.localdate(now), {row.vendor for row in out})
    return [
        *(one for row in out for one in events.of_what_is_out(row, said, days)),
        *_leaving(board(now=now), said, days),
        *(one for about in _without_charge(now) for one in events.late(Kind.CHARGE, about, said, days)),
        *(one for about in _cores() for one in events.before(Kind.CORE, about, said, days)),
        *(one for about in _customers_parts() for one in events.late(Kind.CUSTOMERS_PART, about, said, days)),
        *(one for about in _orders() for one in events.late(Kind.ORDER_LATE, about, said, days)),
    ]


def _calendar(today: date, vendors: Collection[int]) -> Calendar:
    """Five queries. Days so far back that what is long late is still counted in working days."""
    shop = Shop.objects.first()
    ours = shop_calendar(shop=shop, first=today - BACK)
    theirs = _by_key(vendors, vendor_calendars(vendors, shop=shop, first=today))
    return Calendar(today, _working(ours), theirs)


def _by_key(vendors: Collection[int], calendars: Sequence[inputs.Calendar]) -> dict[int, WorkingDays]:
    known = dict(Vendor.objects.filter(pk__in=vendors).values_list("uid", "pk"))
    keys = {str(uid): pk for uid, pk in known.items()}
    return {keys[one.key]: _working(one) for one in calendars}


def _working(calendar: inputs.Calendar) -> WorkingDays:
    return WorkingDays(frozenset(weekday for weekday, _opens, _closes in calendar.hours), frozenset(calendar.closed))


def _out() -> Iterable[Told]:
    """Lots that are out, with the day told last, or that on which they can be expected."""
    latest = Promise.objects.filter(job=OuterRef("pk")).order_by("-pk")
    rows = Job.objects.filter(sent_on__isnull=False, back_on__isnull=True)
    rows = rows.annotate(promise=Subquery(latest.values("pk")[:1]), due_on=Subquery(latest.values("due_on")[:1]))
    told = rows.filter(promise__isnull=False).values_list("pk", "uid", "service__vendor", "promise", "due_on")
    yield from (Told(*row) for row in told.order_by("pk"))
    yield from _untold(rows.filter(promise__isnull=True))


def _untold(jobs: QuerySet[Any]) -> Iterable[Told]:
    """Lots for which nobody told a day: expected by their lead time, as in the plan. Two queries, more where there are any."""
    found = {job.pk: job for job in jobs.select_related("service").order_by("pk")}
    lines = Line.objects.filter(job__in=found, outcome=Line.Outcome.OPEN).values_list("step", "job")
    of_step = dict(lines) if found else {}
    away = Away.objects.filter(step__in=of_step, ended_on__isnull=True, lost=False)
    days: dict[int, date] = {}
    for step, day in expected(list(away.select_related("step__service__vendor")) if of_step else []).items():
        days[of_step[step]] = max(day, days.get(of_step[step], day))
    for pk, day in sorted(days.items()):
        yield Told(pk, found[pk].uid, found[pk].service.vendor_id, 0, day)


# -- what is to leave ----------------------------------------------------------------------------------------------


def _leaving(found: Board, said: Rules, days: Calendar) -> Iterable[Event]:
    for one in (*found.may_leave, *found.later):
        yield from _step(one, said, days)
    for lot in found.planned:
        yield from _lot(lot, said, days)


def _step(one: Leaving, said: Rules, days: Calendar) -> Iterable[Event]:
    """That it must leave soon tells more than that it may: only one of the two is true."""
    must = list(events.before(Kind.MUST_LEAVE, _of_step(one.step, one.leave_by), said, days)) if one.leave_by else []
    yield from must
    if one.ready and not must:
        yield from events.of_what_may_leave(_of_step(one.step, days.today), said)


def _of_step(step: Step, on: date) -> About:
    """The plan moves its days about from one morning to the next: it stays the same event, so the day is no part of it."""
    vendor = step.service.vendor_id if step.service else None
    return About(f"{step.uid}/{step.visit}", on, vendor, step=step.pk, restoration=step.part.restoration_id)


def _lot(lot: Lot, said: Rules, days: Calendar) -> Iterable[Event]:
    """A lot that is to leave on a day somebody chose, or by the plan's if that is earlier. Another day chosen is another event."""
    job = lot.job
    known = [day for day in (job.leave_on, lot.leave_by) if day is not None]
    if known:
        about = About(f"{job.uid}/{job.leave_on or ''}", min(known), job.service.vendor_id, job.pk)
        yield from events.before(Kind.MUST_LEAVE, about, said, days)


# -- money, old parts, orders --------------------------------------------------------------------------------------


def _without_charge(now: datetime) -> Iterable[About]:
    """Jobs that came back, all of it or some, and of which no charge is in. One query."""
    came = Line.objects.filter(job=OuterRef("pk"), back_on__isnull=False).order_by().values("job")
    last = Subquery(came.annotate(last=Max("back_on")).values("last"))
    rows = without_charge(now=now).annotate(came_on=Coalesce("back_on", last)).order_by("pk")
    for pk, uid, vendor, came_on in rows.values_list("pk", "uid", "service__vendor", "came_on"):
        yield About(str(uid), came_on, vendor, pk)


def _agreed() -> QuerySet[Step]:
    """Steps on a route that the customer agreed to; pieces that went their own way stand with those they came from."""
    agreed = Exists(Authorisation.objects.filter(step_uid=OuterRef("uid")))
    own = Step.objects.filter(removed_at__isnull=True, split_from__isnull=True)
    return own.filter(agreed, part__removed_at__isnull=True, part__pieces__gt=0)


def _done() -> Exists:
    return Exists(Done.objects.filter(step=OuterRef("pk"), visit=OuterRef("visit"), undone_at__isnull=True))


def _cores() -> Iterable[About]:
    """Old parts that go back by a day: the exchange part was ordered or is here, and nothing went back yet. One query."""
    ordered = Ordered.objects.filter(step=OuterRef("pk"), outcome__in=[Ordered.Outcome.OPEN, Ordered.Outcome.HERE])
    rows = _agreed().filter(
        Exists(ordered) | _done(),
        ~Exists(CoreReturn.objects.filter(step=OuterRef("pk"))),
        buy_source=Source.EXCHANGE,
        buy_core_by__isnull=False,
    )
    for pk, uid, by, bike in _of_steps(rows, F("buy_core_by")):
        yield About(f"{uid}/{by}", by, step=pk, restoration=bike)


def _customers_parts() -> Iterable[About]:
    """What the customer brings and has not: due on the day told, else when the plan needs it. One query."""
    own = {"step": OuterRef("pk")}
    told = Away.objects.filter(**own, ended_on__isnull=True, lost=False).values("due_on")[:1]
    needed = PlannedStep.objects.filter(**own).values("back_by")[:1]
    rows = _agreed().filter(~_done(), buy_source=Source.CUSTOMERS_OWN)
    day = Coalesce(Subquery(told), Subquery(needed))
    for pk, uid, by, bike in _of_steps(rows, day):
        yield About(str(uid), by, step=pk, restoration=bike)


def _of_steps(rows: QuerySet[Step], day: Any) -> Iterable[tuple[Any, ...]]:
    found = rows.annotate(day=day).filter(day__isnull=False).order_by("pk")
    return found.values_list("pk", "uid", "day", "part__restoration")


def _orders() -> Iterable[About]:
    """Open orders for which a day was told; another day is another event. One query."""
    rows = Order.objects.filter(due_on__isnull=False, closed_on__isnull=True).order_by("pk")
    for pk, uid, due_on in rows.values_list("pk", "uid", "due_on"):
        assert due_on is not None
        yield About(f"{uid}/{due_on}", due_on, order=pk)
