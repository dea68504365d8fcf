from datetime import date

from django import template
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.floor.briefs import Brief, in_hours
from shop.methods.models import Finish
from shop.papers.drawings import paint_chip
from shop.routes.my_tasks import TaskCard

register = template.Library()


@register.filter
def standard(card: TaskCard) -> str:
    """The standard time of what is still to do, in hours and minutes; empty where nobody said."""
    return in_hours(card.standard)


@register.filter
def urgency(card: Brief | TaskCard) -> str:
    """By when a task must be done, and how far that is off; for what came in at the door, since when it is here."""
    if card.must is not None and card.came_in:
        return _("here since %(day)s") % {"day": date_format(card.must, "D j M")}
    return by_day(card.must)


@register.filter
def by_day(day: date | None) -> str:
    """A day by which something must be, and how far that is off."""
    if day is None:
        return ""
    left = (day - timezone.localdate()).days
    named = date_format(day, "D j M")
    if left < 0:
        return ngettext("by %(day)s: %(late)d day late", "by %(day)s: %(late)d days late", -left) % {
            "day": named,
            "late": -left,
        }
    if left == 0:
        return _("today")
    return ngettext("by %(day)s: %(left)d day left", "by %(day)s: %(left)d days left", left) % {
        "day": named,
        "left": left,
    }


@register.filter
def finish_chip(finish: Finish) -> SafeString | str:
    """A paint chip of a finish, with the hole it hangs by; nothing where it has no colour of its own."""
    return paint_chip(finish.swatch, title=_("Paint chip: %(finish)s") % {"finish": finish})
