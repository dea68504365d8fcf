"""A reminder in words."""

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.vendor_jobs.models import Kind, Reminder


def title(row: Reminder) -> str:
    """With whom, and which lot, order or part."""
    if row.job is not None:
        return f"{row.job} · {row.job.service.vendor}"
    if row.order is not None:
        return f"{row.order} · {row.order.supplier}"
    assert row.step is not None, "a reminder is about something"
    vendor = row.step.service.vendor if row.step.service else None
    return f"{row.step.part} · {vendor or row.step}"


def told(row: Reminder, today: date) -> str:
    """What there is to know, in a sentence that stands behind `title`."""
    day = date_format(row.about_on, "DATE_FORMAT")
    late = (today - row.about_on).days
    match row.kind:
        case Kind.MAY_LEAVE:
            return _("may leave for the vendor.")
        case Kind.MUST_LEAVE if late > 0:
            return _("should have left by %(day)s.") % {"day": day}
        case Kind.MUST_LEAVE:
            return _("must leave by %(day)s.") % {"day": day}
        case Kind.DUE_SOON | Kind.DUE_TODAY | Kind.OVERDUE:
            return _due(day, late)
        case Kind.CLOSED_DAY:
            return _("promised for %(day)s, on which they are shut. Ask for another day.") % {"day": day}
        case Kind.CHARGE:
            return _("came back on %(day)s, and no charge is entered.") % {"day": day}
        case Kind.CORE:
            return _("the old part goes back by %(day)s.") % {"day": day}
        case Kind.CUSTOMERS_PART:
            return _("the customer brings it; it was needed by %(day)s.") % {"day": day}
        case _other:
            return _("was to come on %(day)s.") % {"day": day}


def _due(day: str, late: int) -> str:
    if late < 0:
        return _("due back on %(day)s.") % {"day": day}
    if late == 0:
        return _("due back today.")
    said = ngettext("due back on %(day)s, %(late)s day ago.", "due back on %(day)s, %(late)s days ago.", late)
    return said % {"day": day, "late": late}


def sentence(row: Reminder, today: date) -> str:
    """All of it in one line, for a mail or a journal."""
    return f"{title(row)}: {told(row, today)}"
