"""What the manager is called for about PINs: too many wrong ones in an hour, or ten in a row for one person."""

from datetime import date

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.desk.waiting import Group, Waits
from shop.people import pin_alarms, pins
from shop.people.models import PinAlarm, User


def alarms(day: date) -> Group:  # noqa: ARG001
    """Until somebody has seen to them. Two queries."""
    rows = [_alarm(row) for row in pin_alarms.open_alarms()]
    blocked = User.objects.filter(Q(is_active=True), pin__tries__gte=pins.LAST).order_by("first_name", "username")
    rows += [_blocked(person) for person in blocked]
    about = _("Somebody forgot theirs, or somebody guesses.")
    return Group("pins", _("Wrong PINs"), about, rows, for_manager=True)


def _alarm(row: PinAlarm) -> Waits:
    told = {"tablet": row.tablet, "person": row.by}
    if row.tablet is not None:
        text = _("Too many wrong PINs within an hour on the tablet “%(tablet)s”") % told
    elif row.by is not None:
        text = _("Too many wrong PINs within an hour, typed by %(person)s") % told
    else:
        text = _("Too many wrong PINs within an hour in the whole shop")
    at = date_format(timezone.localtime(row.at), "SHORT_DATETIME_FORMAT")
    return Waits(None, at, reverse("desk:tablets"), _("none is taken"), "bad", name=text)


def _blocked(person: User) -> Waits:
    text = _("The PIN of %(person)s is locked") % {"person": person}
    said = _("Ten wrong ones in a row. Unlock it, or give a new one.")
    return Waits(None, said, reverse("desk:person", args=[person.uid]), _("locked"), "bad", name=text)
