"""When an open clocking is taken for a forgotten one. Nobody guesses its end: the person is asked.

It hangs once the shop has been shut for `AFTER_CLOSING` since the end of the hours in which it began, or once it has run for
longer than `LONGEST`, whichever comes first. Work begun outside the shop's hours, as on a Sunday or at night, has only the second
rule. Common practice, no source.
"""

from datetime import datetime, time, timedelta

from django.utils import timezone

from shop.floor.models import Clocking
from shop.people.calendars import USUAL_HOURS
from shop.people.models import ShopHours

AFTER_CLOSING = timedelta(hours=2)
LONGEST = timedelta(hours=10)
#: Nothing this young hangs, whatever the hours: so that nearly every tap is taken without looking them up.
YOUNG = timedelta(hours=2)


def hangs(clocking: Clocking, *, now: datetime) -> bool:
    """At most one query, and none while it is young."""
    ran = now - clocking.began_at
    if ran <= YOUNG or clocking.ended_at is not None:
        return False
    if ran > LONGEST:
        return True
    closing = closing_after(clocking.began_at)
    return closing is not None and now > closing + AFTER_CLOSING


def closing_after(began_at: datetime) -> datetime | None:
    """When the shop shuts for the day on which somebody began; None where that was not before closing, or it is shut all day."""
    began = timezone.localtime(began_at)
    last = _last_closing(began.weekday())
    if last is None:
        return None
    closing = timezone.make_aware(datetime.combine(began.date(), last))
    return closing if began_at < closing else None


def _last_closing(weekday: int) -> time | None:
    hours = list(ShopHours.objects.values_list("weekday", "closes"))
    if hours:
        return max((closes for day, closes in hours if day == weekday), default=None)
    usual = max((closes for day, _opens, closes in USUAL_HOURS if day == weekday), default=None)
    return None if usual is None else time(usual // 60 % 24, usual % 60)
