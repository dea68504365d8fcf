"""What is at a vendor or on order, in sentences."""

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from shop.routes.models import Away, Step


def sentence(away: Away, step: Step, today: date) -> str:
    """Where what ``step`` is about is, since when, and until when."""
    told = {"where": away.where, "since": date_format(away.since)}
    if away.lost:
        return _("It was lost at %(where)s, where it has been since %(since)s.") % told
    if step.buy:
        ordered = _("It was ordered from %(where)s on %(since)s.") % told
        return f"{ordered} {_due(away, today)}"
    out = _("It has been at %(where)s since %(since)s.") % told
    return f"{out} {_due(away, today)}"


def _due(away: Away, today: date) -> str:
    if away.due_on is None:
        return _("Nobody told us a day yet.")
    said = _("It was due on %(due)s.") if away.due_on < today else _("It is due on %(due)s.")
    return said % {"due": date_format(away.due_on)}


def comes_first(away: Away, step: Step) -> str:
    """What has to happen to ``step``, which is away, before what comes after it can begin."""
    told = {"step": step, "part": step.part, "where": away.where}
    if away.lost:
        return _("%(part)s was lost at %(where)s (%(step)s): it has to be found or replaced first.") % told
    if away.due_on is None:
        if step.buy:
            return _("%(step)s has to be here first (%(part)s).") % told
        return _("%(part)s has to be back from %(where)s first (%(step)s).") % told
    told["due"] = date_format(away.due_on)
    if step.buy:
        return _("%(step)s has to be here first (%(part)s); it is due on %(due)s.") % told
    return _("%(part)s has to be back from %(where)s first (%(step)s); it is due on %(due)s.") % told
