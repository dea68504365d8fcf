"""What waits for the manager about time: taps that could not be applied, or that nobody has looked at yet."""

from datetime import date

from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.desk.waiting import Group, Waits
from shop.floor.models import Tap
from shop.floor.settling import waiting

SHOWN = 10


def taps(_day: date) -> Group:
    """The oldest first. One query."""
    about = _("They are kept, and count for nothing until somebody says what they were.")
    rows = [_tap(row) for row in waiting()[:SHOWN]]
    return Group("taps", _("Taps that wait for you"), about, rows, for_manager=True)


def _tap(row: Tap) -> Waits:
    at = date_format(timezone.localtime(row.at), "SHORT_DATETIME_FORMAT")
    name = _("%(person)s: %(tap)s, %(at)s") % {"person": row.person, "tap": row.get_kind_display(), "at": at}
    return Waits(None, row.reason, reverse("floor:times"), name=name)
