"""When vendors work."""

from collections.abc import Iterable
from datetime import date

from quotes.engine.inputs import Calendar
from shop.methods.models import Vendor
from shop.people.calendars import closed_days, known_until
from shop.people.models import Shop

#: A vendor's day counts whole; these are the hours it stands for [min after midnight].
WHOLE_DAY = (0, 1440)


def vendor_calendars(vendors: Iterable[int], *, shop: Shop | None, first: date) -> tuple[Calendar, ...]:
    """The calendars of vendors by primary key, in the order of their uids. Two queries."""
    rows = Vendor.objects.filter(pk__in=list(vendors)).prefetch_related("closures").order_by("uid")
    return tuple(vendor_calendar(row, shop=shop, first=first) for row in rows)


def vendor_calendar(vendor: Vendor, *, shop: Shop | None, first: date) -> Calendar:
    """A vendor's calendar, with the holidays of its own country, or the shop's where it does not say."""
    country, subdivision = vendor.country, vendor.subdivision
    if not country and shop:
        country, subdivision = shop.country, shop.subdivision
    spans = [(row.first, row.last) for row in vendor.closures.all() if row.last >= first]
    return Calendar(
        key=str(vendor.uid),
        name=vendor.name,
        hours=tuple((int(digit) - 1, *WHOLE_DAY) for digit in sorted(set(vendor.works_on))),
        closed=closed_days(country, subdivision, first, spans),
        known_until=known_until(country, first),
    )
