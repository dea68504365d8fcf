"""What waits for the desk about customers: questions nobody answered, and customers who have heard nothing for long."""

from datetime import date

from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import Truncator
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.desk.waiting import Group, Waits
from quotes.pricing.customers import messages, quiet
from quotes.pricing.models import Message
from shop.restorations.models import Restoration

SHOWN = 20
URGENT = 2  # [days]


def questions(day: date) -> Group:
    """Unanswered questions, the longest waiting first. Two queries."""
    rows = list(messages.unanswered()[: SHOWN + 1])
    about = _("Asked on their page; the answer is read there.")
    if len(rows) > SHOWN:
        about = _more(about, messages.unanswered().count())
    return Group("questions", _("Customers ask"), about, [_question(row, day) for row in rows[:SHOWN]])


def _question(row: Message, day: date) -> Waits:
    asked = timezone.localdate(row.at)
    waits = (day - asked).days
    said = {"name": row.who, "text": Truncator(row.text).chars(120)}
    tag = ngettext("for %(days)s day", "for %(days)s days", waits) % {"days": waits} if waits else _("today")
    tone = "bad" if waits >= URGENT else "mind"
    address = f"{reverse('desk:customer', args=[row.restoration.uid])}#asked-{row.uid}"
    return Waits(row.restoration, _("%(name)s: “%(text)s”") % said, address, tag, tone)


def silence(day: date) -> Group:
    """Customers who have heard nothing for as long as the policy allows, the longest silence first."""
    limit = quiet.limit(day)
    found = list(quiet.quiet(day, limit=limit))
    words = quiet.last_words(row.pk for row in found)
    found.sort(key=lambda row: words[row.pk].at)
    about = _("They accepted, and heard nothing for %(days)s days or more. Share a note, or telephone.")
    about = about % {"days": limit}
    if len(found) > SHOWN:
        about = _more(about, len(found))
    return Group(
        "silence",
        _("Customers who have heard nothing"),
        about,
        [_silent(row, words[row.pk], day) for row in found[:SHOWN]],
    )


def _silent(row: Restoration, word: quiet.Word, day: date) -> Waits:
    days = word.days(day)
    text = _("last on %(day)s: %(how)s") % {
        "day": date_format(timezone.localtime(word.at), "DATE_FORMAT"),
        "how": word.how,
    }
    tag = ngettext("%(days)s day", "%(days)s days", days) % {"days": days}
    return Waits(row, text, f"{reverse('desk:customer', args=[row.uid])}#share", tag, "mind")


def _more(about: str, count: int) -> str:
    return _("%(about)s The longest of %(count)s come first.") % {"about": about, "count": count}
