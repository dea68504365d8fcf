"""What the service reminds the desk of about vendor work, and what has climbed to the manager; done or put off with one tap."""

from collections.abc import Iterable
from datetime import date, timedelta

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.desk.today import BAD, MIND, SHOWN
from quotes.desk.waiting import Act, Group, Waits
from shop.people.roles import ROLE_DESK, ROLE_MANAGER
from shop.vendor_jobs.models import Kind, Reminder
from shop.vendor_jobs.reminding import words
from shop.vendor_jobs.reminding.selectors import open_reminders

TONES = {Kind.OVERDUE: BAD, Kind.ORDER_LATE: BAD, Kind.DUE_TODAY: MIND, Kind.MUST_LEAVE: MIND, Kind.CLOSED_DAY: MIND}
#: Put off with one tap for so many days.
LATER = (1, 7)


def reminders(day: date) -> Iterable[Group]:
    """Those of the desk, and those that climbed; the longest due first. Three queries. What may leave is one line."""
    about = _("Do it, say that it is done, or put it off. What happens meanwhile settles it by itself.")
    mine = open_reminders(roles=[ROLE_DESK], today=day)
    rows = [waits(row, day) for row in mine.exclude(kind=Kind.MAY_LEAVE)[:SHOWN]]
    rows += _may_leave(mine.filter(kind=Kind.MAY_LEAVE).count())
    yield Group("reminders", _("Reminders"), about, rows)
    climbed = open_reminders(roles=[ROLE_MANAGER], today=day)[:SHOWN]
    about = _("The desk was reminded of these before.")
    yield Group("climbed", _("Reminders for you"), about, [waits(row, day) for row in climbed], for_manager=True)


def _may_leave(count: int) -> list[Waits]:
    if not count:
        return []
    said = ngettext("%(count)d part may leave for a vendor.", "%(count)d parts may leave for vendors.", count)
    return [Waits(None, said % {"count": count}, reverse("desk:vendor_work"), name=_("Vendor work"))]


def waits(row: Reminder, day: date) -> Waits:
    """A reminder as a line with its buttons."""
    tag = str(Kind(row.kind).label)
    tone = BAD if row.level else TONES.get(Kind(row.kind), "")
    address = reverse("desk:reminder", args=[row.uid])
    return Waits(None, words.told(row, day), address, tag, tone, name=words.title(row), acts=acts(row, day))


def acts(row: Reminder, day: date) -> tuple[Act, ...]:
    """Done, and later."""
    named = words.title(row)
    later = reverse("desk:put_off", args=[row.uid])
    done = Act(reverse("desk:reminder_done", args=[row.uid]), _("Done"), _("Done: %(name)s") % {"name": named})
    return (done, *(_later(later, named, day, days) for days in LATER))


def _later(address: str, named: str, day: date, days: int) -> Act:
    label = ngettext("In %(days)d day", "In %(days)d days", days) % {"days": days}
    said = _("%(label)s again: %(name)s") % {"label": label, "name": named}
    return Act(address, label, said, "until", (day + timedelta(days=days)).isoformat())
