"""What the floor waits for the desk to say: damage it reported, replacements without a price, causes that return."""

from datetime import date

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.desk.waiting import Group, Waits
from shop.floor.damage import open_reports, said, unpriced_replacements
from shop.floor.models import DamageReport, Rework
from shop.floor.returning import Proposal, proposals
from shop.text import quantity

SHOWN = 10


def reports(_day: date) -> Group:
    """Damage that somebody at the bench reported and nobody has settled, the oldest first. One query."""
    about = _("Make an offer of it, or say why it is no damage. The bench does not begin on it before.")
    rows = [_report(row) for row in open_reports()[:SHOWN]]
    return Group("reported", _("Damage reported from the floor"), about, rows)


def _report(row: DamageReport) -> Waits:
    told = {"part": row.part, "what": said(row), "person": row.person, "hours": quantity(row.hours, "h")}
    text = _("%(part)s: %(what)s. %(person)s guesses %(hours)s.") % told
    return Waits(row.part.restoration, text, reverse("desk:report", args=[row.uid]), _("work stands"), "mind")


def replacements(_day: date) -> Group:
    """Scrapped pieces of which nobody has said yet what the replacement costs. One query."""
    about = _("Scrapped at the bench. Say what the replacement costs, so that the redo is counted whole.")
    rows = [_replacement(row) for row in unpriced_replacements()[:SHOWN]]
    return Group("scrapped", _("Replacements without a price"), about, rows)


def _replacement(row: Rework) -> Waits:
    told = {"part": row.step.part, "step": row.step, "cause": row.cause, "count": row.scrapped}
    text = ngettext(
        "%(part)s: %(count)d piece scrapped at “%(step)s” (%(cause)s).",
        "%(part)s: %(count)d pieces scrapped at “%(step)s” (%(cause)s).",
        row.scrapped,
    )
    return Waits(row.step.part.restoration, text % told, reverse("desk:replacement", args=[row.uid]))


def returning(_day: date) -> Group:
    """Causes that came back, each with the check that would have caught it. Two queries."""
    about = _("A check would catch it next time. The manager puts it in with one tap, or says that it is not wanted.")
    rows = [_proposal(one) for one in proposals()[:SHOWN]]
    return Group("returning", _("A cause returns"), about, rows, for_manager=True)


def _proposal(one: Proposal) -> Waits:
    told = {"cause": one.cause, "operation": one.operation, "count": one.count}
    text = _("“%(cause)s” at “%(operation)s”: done again %(count)s times, last on this bike.") % told
    address = reverse("desk:checks", args=[one.operation.uid])
    return Waits(one.newest.step.part.restoration, text, address)
