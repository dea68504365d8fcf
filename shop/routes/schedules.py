"""When work on a restoration can go on: calendars, held days, hands, what is done or out already, and what else there is to do."""

from datetime import date
from decimal import Decimal

from django.db.models import Q, Sum

from quotes.engine import inputs
from shop.methods.calendars import vendor_calendars
from shop.people.calendars import shop_calendar
from shop.people.models import Shop
from shop.restorations.models import Restoration
from shop.routes.models import Authorisation, Hold, PlannedStep
from shop.routes.selectors import Scope
from shop.routes.settled import settled

HUNDRED = Decimal(100)


def schedule(found: Scope, *, today: date) -> inputs.Schedule:
    """The schedule of a restoration as it stands today. Raises `BadInput` for a country whose holidays nobody knows."""
    restoration, shop = found.restoration, Shop.objects.first()
    first = max(restoration.starts_on or today, today)
    vendors = {step.service.vendor_id for step in found.step_by_pk.values() if step.service}
    calendars = (shop_calendar(shop=shop, first=first), *vendor_calendars(vendors, shop=shop, first=first))
    return inputs.Schedule(
        starts_on=first.isoformat(),
        calendars=calendars,
        held=tuple(_held(hold, first=first) for hold in holds(restoration)),
        hands=Decimal(shop.hands) if shop else Decimal(0),
        productive=Decimal(shop.productive) / HUNDRED if shop else Decimal("0.7"),
        load=load_before(restoration, first=first),
        settled=settled(found),
    )


def _held(hold: Hold, *, first: date) -> inputs.Held:
    """A hold without a last day holds back what could begin today, and so moves the ready day every day."""
    last = hold.last or max(hold.first, first)
    return inputs.Held(hold.first.isoformat(), last.isoformat(), hold.reason)


def holds(restoration: Restoration) -> list[Hold]:
    """The held days of a restoration that stand, in order."""
    return list(restoration.holds.filter(removed_at__isnull=True).order_by("first", "pk"))


def load_before(restoration: Restoration, *, first: date) -> tuple[tuple[str, Decimal], ...]:
    """Authorised work on bikes begun earlier that is planned to go on after ``first`` [min]: by place, people's under "".

    One query.
    """
    begun_earlier = Q(plan__restoration__begun_on__lt=restoration.begun_on) | Q(
        plan__restoration__begun_on=restoration.begun_on, plan__restoration__lt=restoration.pk
    )
    authorised = Authorisation.objects.values("step_uid")
    on_a_route = Q(step__removed_at__isnull=True, step__part__removed_at__isnull=True)
    rows = PlannedStep.objects.filter(
        begun_earlier, on_a_route, plan__ready_certain__gte=first, step__uid__in=authorised
    )
    sums = rows.order_by().values("place").annotate(minutes=Sum("minutes"), taken=Sum("taken"))
    found = {row["place"]: Decimal(row["taken"]) for row in sums if row["place"]}
    found[""] = Decimal(sum(row["minutes"] for row in sums))
    return tuple((place, minutes) for place, minutes in sorted(found.items()) if minutes)
