"""A suggestion as a line: every task as a tick, what is assumed as a post, what is suggested as a flag over its interval."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from shop.papers import drawings
from shop.papers.pictures import PHONE
from shop.text import quantity

MARGIN, MIDDLE, HEIGHT = 26, 46, 92
TICK, BAND = 7, 12


@dataclass(frozen=True, slots=True)
class Told:
    """Figures times 10,000: what is assumed, suggested, between what, and what single tasks took."""

    assumed: int
    suggested: int
    low: int
    high: int
    points: Sequence[int] = ()
    unit: str = ""


def draw(told: Told, *, ident: str, width: int = PHONE) -> SafeString:
    """``ident`` is alone on its page; ``width`` in the picture's units. Far points stand at the edge."""
    core = [told.assumed, told.suggested, told.low, told.high]
    ends = sorted(told.points)
    some = [ends[len(ends) // 20], ends[-1 - len(ends) // 20]] if ends else []
    least, most = min([*core, *some]), max([*core, *some])
    room = max(most - least, 1)
    inner = width - 2 * MARGIN

    def at(value: int) -> int:
        return MARGIN + max(0, min(inner, inner * (value - least) // room))

    hatch = f"{ident}-interval"
    ticks = [
        drawings.line(at(one), MIDDLE + 4, at(one), MIDDLE + 4 + TICK, stroke=drawings.EDGE) for one in told.points
    ]
    low, high = at(told.low), at(told.high)
    return drawings.picture(
        drawings.hatching(hatch, gap=4),
        drawings.line(MARGIN, MIDDLE, width - MARGIN, MIDDLE, stroke=drawings.EDGE),
        *ticks,
        drawings.box(low, MIDDLE - BAND, max(high - low, 2), BAND, fill=drawings.hatched(hatch)),
        drawings.line(at(told.suggested), MIDDLE - BAND - 8, at(told.suggested), MIDDLE, width=3),
        drawings.line(at(told.assumed), MIDDLE - 4, at(told.assumed), MIDDLE + 22, width=2, dashes="3 3"),
        _label(at(told.suggested), MIDDLE - BAND - 13, _words(told.suggested, told.unit), width, bold=True),
        _label(
            at(told.assumed), MIDDLE + 37, _("assumed %(figure)s") % {"figure": _words(told.assumed, told.unit)}, width
        ),
        width=width,
        height=HEIGHT,
        title=_("What happened, what is assumed, what is suggested"),
        words=in_words(told),
    )


def _label(x: int, y: int, content: str, width: int, *, bold: bool = False) -> SafeString:
    anchor = "start" if x < width // 3 else "end" if x > 2 * width // 3 else "middle"
    return drawings.text(x, y, content, anchor=anchor, bold=bold)


def _words(value: int, unit: str) -> str:
    return quantity((Decimal(value) / 10_000).quantize(Decimal("0.01")).normalize(), unit)


def in_words(told: Told) -> str:
    """The same in a sentence."""
    figures = {name: _words(getattr(told, name), told.unit) for name in ("assumed", "suggested", "low", "high")}
    return _("Assumed %(assumed)s; what happened says %(suggested)s, between %(low)s and %(high)s.") % figures
