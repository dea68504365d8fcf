"""What waits for the desk about intake: numbers that do not match and that nobody has cleared."""

from datetime import date

from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext as _

from quotes.desk.waiting import Group, Waits
from shop.restorations.models import Intake
from shop.restorations.numbers import Numbers, numbers_of

SHOWN = 20


def numbers(_day: date) -> Group:
    """Bikes on which only a ballpark may go out, newest first. Two queries.

    The database leaves out those written alike; which of the others are the same number is looked at here.
    """
    found = [(row, numbers_of(row, row.cleared.all())) for row in _differing()]
    stopped = [(row, known) for row, known in found if known.stop]
    about = _("Only a ballpark may go out and no step may begin until they match or somebody clears them by name.")
    if len(stopped) > SHOWN:
        about = _("%(about)s The first %(shown)s of %(all)s.") % {"about": about, "shown": SHOWN, "all": len(stopped)}
    rows = [_waits(row, known) for row, known in stopped[:SHOWN]]
    return Group("numbers", _("Numbers do not match"), about, rows)


def _differing() -> list[Intake]:
    machine = "restoration__machine__"
    frame = ~Q(papers_frame_number="") & ~Q(**{f"{machine}frame_number": ""})
    engine = ~Q(papers_engine_number="") & ~Q(**{f"{machine}engine_number": ""})
    differs = (frame & ~Q(papers_frame_number=F(f"{machine}frame_number"))) | (
        engine & ~Q(papers_engine_number=F(f"{machine}engine_number"))
    )
    known = Intake.objects.select_related("restoration__machine", "restoration__customer").prefetch_related("cleared")
    return list(known.filter(differs).order_by("-came_on", "-pk"))


def _waits(row: Intake, known: Numbers) -> Waits:
    hints = " ".join(pair.hint for pair in known.wrong if pair.hint)
    text = f"{known.sentence} {hints}".strip()
    return Waits(row.restoration, text, reverse("desk:intake", args=[row.restoration.uid]), _("stopped"), "bad")
