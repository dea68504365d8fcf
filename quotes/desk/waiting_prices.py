"""What waits for the desk about prices: parts searched for too long, and prices of open drafts that hold no more."""

from collections import Counter
from datetime import date, timedelta

from django.db.models import F, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.desk import today
from quotes.desk.forms_buying import searched
from quotes.desk.waiting import Group, Waits
from quotes.pricing.models import Outcome
from shop.rates.models import ConsumablePrice, ServicePrice
from shop.restorations.models import Restoration
from shop.routes.models import Step

SHOWN = 20
#: Common practice, no source: after so long somebody asks whether to go on searching or to choose another source.
LONG = timedelta(weeks=8)


def _live() -> QuerySet[Step]:
    on_route = Step.objects.filter(removed_at__isnull=True, part__removed_at__isnull=True, split_from__isnull=True)
    return on_route.filter(part__pieces__gt=0)


def searching(day: date) -> Group:
    """Parts searched for longer than eight weeks on bikes that nobody declined, the longest first. One query."""
    wanted = today.restorations().filter(Q(outcome__isnull=True) | ~Q(outcome=Outcome.Kind.DECLINED))
    rows = _live().filter(buy_searching_since__lt=day - LONG, part__restoration__in=wanted.values("pk"))
    rows = rows.select_related("part__restoration__customer").order_by("buy_searching_since", "pk")
    about = _("Go on, or choose another source: a reproduction, a used part, or what the customer finds.")
    return Group("searching", _("Searched for longer than 8 weeks"), about, [_sought(row, day) for row in rows[:SHOWN]])


def _sought(row: Step, day: date) -> Waits:
    assert row.buy_searching_since is not None
    text = _("%(part)s: %(thing)s") % {"part": row.part, "thing": row}
    tag = searched(row.buy_searching_since, day)
    return Waits(row.part.restoration, text, reverse("desk:step", args=[row.uid]), tag, "mind")


def run_out(day: date) -> Group:
    """Open drafts that rest on prices which hold no more, most such prices first. Five queries."""
    drafts = list(today.found("", "draft", day).order_by().values_list("pk", flat=True))
    steps = _live().filter(part__restoration__in=drafts)
    found: Counter[int] = Counter()
    for rows in (_purchases(steps, day), _services(steps, day), _consumables(steps, day)):
        found.update(restoration for restoration, _thing in set(rows))
    bikes = Restoration.objects.select_related("customer").in_bulk([pk for pk, _count in found.most_common(SHOWN)])
    about = _("Ask again before a quote goes out with them.")
    lines = [_expired(bikes[pk], count) for pk, count in found.most_common(SHOWN)]
    return Group("run-out", _("Prices that hold no more"), about, lines)


def _expired(bike: Restoration, count: int) -> Waits:
    text = ngettext("%(count)s price has run out", "%(count)s prices have run out", count) % {"count": count}
    return Waits(bike, text, reverse("desk:prices", args=[bike.uid]), _("ask again"), "mind")


Used = QuerySet[Step, tuple[int, int]]


def _purchases(steps: QuerySet[Step], day: date) -> Used:
    return steps.exclude(buy="").filter(buy_valid_until__lt=day).values_list("part__restoration", "pk")


def _services(steps: QuerySet[Step], day: date) -> Used:
    """By the price in force on the day the draft is priced on."""
    prices = ServicePrice.objects.filter(service=OuterRef("service"))
    return _that_ran_out(steps.filter(service__isnull=False), prices, "service", day)


def _consumables(steps: QuerySet[Step], day: date) -> Used:
    used = steps.filter(operation__usages__isnull=False).annotate(thing=F("operation__usages__consumable"))
    return _that_ran_out(used, ConsumablePrice.objects.filter(consumable=OuterRef("thing")), "thing", day)


def _that_ran_out(
    steps: QuerySet[Step], prices: "QuerySet[ServicePrice] | QuerySet[ConsumablePrice]", thing: str, day: date
) -> Used:
    on = OuterRef("part__restoration__draft__priced_on")
    in_force = prices.filter(valid_from__lte=on).order_by("-valid_from", "-revision")
    until = Subquery(in_force.values("valid_until")[:1])
    return steps.annotate(holds=until).filter(holds__lt=day).values_list("part__restoration", thing)
