"""Material as cost: what the steps that were done used by the book, at the price of the day.

What one task did on one day is one mix, so a day is looked at as a whole, and once more while it may still change.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Max, Min
from django.utils import timezone

from quotes.engine.money import rounded, shared_out
from quotes.margin.models import CostEntry
from quotes.margin.posting.kept import Cost, Kept, exact, mark_of, posted
from quotes.margin.posting.kept import post as keep
from quotes.margin.posting.labour import nature_of, not_in_a_quote
from shop.floor.material import Used, by_the_book
from shop.floor.models import Rework
from shop.rates.models import ConsumablePrice
from shop.routes.models import Done, Remedy, Step

SOURCE = CostEntry.Source.MATERIAL
Nature = CostEntry.Nature
#: Days before the last look that are looked at again.
BACK = timedelta(days=2)
AT_ONCE = timedelta(days=28)
#: Keys are given out before rows are there to be seen.
KEYS_BACK = 200
Prices = dict[int, list[tuple[date, Decimal]]]


def post(*, now: datetime) -> Kept:
    """Post what was used since the last look, four weeks at a time, and take back what was not done after all."""
    mark, today = mark_of(SOURCE), timezone.localdate(now)
    newest = Done.objects.aggregate(last=Max("pk"))["last"] or 0
    first = timezone.localdate(mark.at) - BACK if mark.at else _first_day()
    found = Kept()
    prices = _prices()
    while first is not None and first <= today:
        last = min(first + AT_ONCE, today)
        found += keep(SOURCE, _costs(by_the_book(first, last), prices), now=now)
        first = last + timedelta(days=1)
    if mark.at:
        for day in _late(mark.upto, before=timezone.localdate(mark.at) - BACK):
            found += keep(SOURCE, _costs(by_the_book(day, day), prices), now=now)
        undone = Done.objects.filter(undone_at__gte=mark.at - BACK).values_list("pk", flat=True)
        found += keep(SOURCE, dict.fromkeys(posted(SOURCE, list(undone)), ()), now=now)
        waiting = Remedy.objects.filter(done_at__isnull=True).values_list("pk", flat=True)
        found += keep(SOURCE, dict.fromkeys(posted(SOURCE, [-pk for pk in waiting]), ()), now=now)
    mark.at, mark.upto = now, newest
    mark.save()
    return found


def _late(upto: int, *, before: date) -> list[date]:
    """Days before the window for which somebody said "done" only now: a tap that was kept on a tablet, or waited for a person."""
    rows = Done.objects.filter(pk__gt=upto - KEYS_BACK, undone_at__isnull=True).values_list("at", flat=True)
    return sorted({day for day in map(timezone.localdate, rows) if day < before})


def _first_day() -> date | None:
    days = [Done.objects.aggregate(day=Min("at"))["day"], Remedy.objects.aggregate(day=Min("done_at"))["day"]]
    return min((timezone.localdate(day) for day in days if day), default=None)


def _prices() -> Prices:
    """Consumable to what one of its units costs from a day on [minor units]. One query."""
    found: Prices = defaultdict(list)
    rows = ConsumablePrice.objects.order_by("valid_from", "revision")
    for item, day, size, price in rows.values_list("consumable", "valid_from", "pack_size", "pack_price_minor"):
        found[item].append((day, Decimal(price) / size))
    return found


def _costs(used: Iterable[Used], prices: Prices) -> dict[int, list[Cost]]:
    """By done row, or by the key below zero of work before a redo. Three queries."""
    works: dict[int, list[tuple[Used, Decimal]]] = defaultdict(list)
    for row in used:
        price = next((each for day, each in reversed(prices.get(row.consumable, [])) if day <= row.day), Decimal(0))
        key = row.done if row.done is not None else -(row.remedy or 0)
        works[key].append((row, row.mixed * price))
    steps = {
        step.pk: step
        for step in Step.objects.filter(
            pk__in={row.step for rows in works.values() for row, _cost in rows}
        ).select_related("part", "split_from")
    }
    visits = dict(Done.objects.filter(pk__in=[key for key in works if key > 0]).values_list("pk", "visit"))
    ours = not_in_a_quote([step.uid for step in steps.values()])
    causes = _causes([-key for key in works if key < 0])
    found: dict[int, list[Cost]] = {}
    for key, rows in works.items():
        rows.sort(key=lambda each: (each[0].step, each[0].consumable))
        order = [f"{place:06}" for place in range(len(rows))]
        amounts = [cost for _row, cost in rows]
        shares = shared_out(rounded(sum(amounts, Decimal(0)), digits=0), amounts, order, digits=0)
        found[key] = [
            Cost(
                on=row.day,
                nature=_nature(key, visits.get(key, 1), ours=steps[row.step].uid in ours),
                restoration_id=steps[row.step].part.restoration_id,
                step_uid=(steps[row.step].split_from or steps[row.step]).uid,
                visit=visits.get(key, 1),
                cause_id=causes.get(-key),
                consumable_id=row.consumable,
                quantity=exact(row.mixed),
                material_minor=int(share),
            )
            for (row, _cost), share in zip(rows, shares, strict=True)
        ]
    return found


def _nature(key: int, visit: int, *, ours: bool) -> str:
    """Work before a redo is part of the redo."""
    return Nature.AGAIN if key < 0 else nature_of(Nature.FIRST, visit=visit, ours=ours)


def _causes(remedies: list[int]) -> dict[int, int]:
    """Remedy to the cause of the redo that it is for. One query, or none."""
    if not remedies:
        return {}
    rows = Rework.objects.filter(task__remedies__in=remedies)
    return dict(rows.values_list("task__remedies", "cause"))
