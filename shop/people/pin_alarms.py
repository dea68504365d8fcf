"""One PIN tried on many people: so many misses an hour on one tablet, and in the whole shop, then none is looked at."""

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.people.models import PinAlarm, PinTry, Shop, Tablet, User

#: Misses within any hour. One place has fewer than the shop, so that one tablet that was stolen does not stop the others.
OF_A_PLACE, OF_THE_SHOP = 10, 20
HOUR = timedelta(hours=1)
#: How long tries are kept to be looked into.
KEPT = timedelta(days=90)
SHOP = "shop"


def place(tablet: Tablet | None, by: User | None) -> str:
    """Where a PIN is typed: on a tablet, or on whatever somebody signed in holds."""
    return f"tablet {tablet.pk}" if tablet else f"person {by.pk}" if by else SHOP


def hold() -> Shop:
    """Whoever counts tries comes one after the other, on both engines."""
    return Shop.objects.select_for_update().first() or _first()


def _first() -> Shop:
    Shop.objects.get_or_create(only=True, defaults={"name": _("This workshop")})
    return Shop.objects.select_for_update().get()


def too_many(tablet: Tablet | None, by: User | None, *, now: datetime) -> bool:
    """Whether no PIN is looked at here now. Under `hold`, no two tries see the same count."""
    return any(full for _place, full in _full(tablet, by, now))


def raise_where_due(tried: PinTry, *, now: datetime) -> None:
    """Call the manager where a limit is reached, once until it is settled."""
    PinTry.objects.filter(at__lt=now - KEPT).delete()
    for where, full in _full(tried.tablet, tried.by, now):
        if full and not PinAlarm.objects.filter(place=where, settled_at__isnull=True).exists():
            here = {} if where == SHOP else {"tablet": tried.tablet, "by": tried.by}
            PinAlarm.objects.create(place=where, at=now, **here)


def _full(tablet: Tablet | None, by: User | None, now: datetime) -> list[tuple[str, bool]]:
    here = place(tablet, by)
    return [
        (here, _misses(here, now).filter(tablet=tablet, by=by).count() >= OF_A_PLACE),
        (SHOP, _misses(SHOP, now).count() >= OF_THE_SHOP),
    ]


def _misses(where: str, now: datetime) -> QuerySet[PinTry]:
    """Of the last hour, and since the manager last looked into it."""
    rows = PinTry.objects.filter(right=False, at__gt=now - HOUR)
    seen_to = PinAlarm.objects.filter(place=where, settled_at__gt=now - HOUR).order_by("-settled_at").first()
    return rows.filter(at__gt=seen_to.settled_at) if seen_to else rows


def open_alarms() -> QuerySet[PinAlarm]:
    return PinAlarm.objects.filter(settled_at__isnull=True).select_related("tablet", "by")


@transaction.atomic
def settle(*, who: str, now: datetime) -> int:
    """The manager has seen to it: PINs are looked at again from now on."""
    shop = hold()
    count = PinAlarm.objects.filter(settled_at__isnull=True).update(settled_at=now, settled_by=who)
    if count:
        record(who=who, at=now, what="PIN alarm settled", subject=subject_of(shop), after={"alarms": count})
    return count
