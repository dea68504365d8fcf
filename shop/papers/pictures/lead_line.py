"""How long a vendor takes, as a line of days: filled until half are back, hatched until four in five, a post where the rate book has it."""

from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from shop.papers import drawings
from shop.papers.pictures import PHONE

STRIP, TOP, MARGIN = 14, 8, 6


@dataclass(frozen=True, slots=True)
class LeadTimes:
    """Working days in which half and four in five are back, None where too many are out to say; and what is planned with."""

    likely: int | None
    mostly: int | None
    planned: int


def draw(found: LeadTimes, *, ident: str, width: int = PHONE) -> SafeString:
    """``ident`` is alone on its page; ``width`` in the picture's units. Open at the end where nobody can say."""
    most = max(found.likely or 0, found.mostly or 0, found.planned, 1)
    inner = width - 2 * MARGIN

    def at(days: int) -> int:
        return MARGIN + inner * days // most

    half = at(found.likely) if found.likely is not None else MARGIN
    rest = at(found.mostly) if found.mostly is not None else MARGIN + inner
    hatch = f"{ident}-mostly"
    open_end = [] if found.mostly is not None else [drawings.text(width - MARGIN, TOP + STRIP + 16, "…", anchor="end")]
    return drawings.picture(
        drawings.hatching(hatch, gap=5),
        drawings.box(MARGIN, TOP, max(rest - MARGIN, 1), STRIP, fill=drawings.hatched(hatch)),
        drawings.box(MARGIN, TOP, max(half - MARGIN, 1), STRIP, fill=drawings.INK),
        drawings.line(at(found.planned), TOP - 6, at(found.planned), TOP + STRIP + 6, width=3, stroke=drawings.EDGE),
        *open_end,
        width=width,
        height=TOP + STRIP + 20,
        title=_("Days until it is back"),
        words=in_words(found),
    )


def in_words(found: LeadTimes) -> str:
    """The same in a sentence or two."""
    if found.likely is None:
        half = _("Too many are still out to say in how many days half of them are back.")
    else:
        half = _("Half are back in %(days)s days.") % {"days": found.likely}
    if found.mostly is None:
        most = _("When four in five are back cannot be said yet.")
    else:
        most = _("Four in five are back in %(days)s days.") % {"days": found.mostly}
    return " ".join((half, most, _("The plan counts %(days)s.") % {"days": found.planned}))
