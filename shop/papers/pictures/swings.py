"""What moves a figure most: one bar for each thing that may turn out better or worse, the longest on top."""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.papers import drawings
from shop.papers.pictures import PHONE, pencil, sums
from shop.papers.pictures.lettering import LINE, SIZE, fit, width_of

MOST = 10
LEFT = 4
BAR = 12
GAP = 6
# What the bars get at least, however long the figures at their ends are.
LEAST = 60
# What labels beside the bars get at most, of the whole width.
MOST_LABEL = 0.42
HEAD = LINE * 2


@dataclass(frozen=True, kw_only=True)
class Swing:
    """The figure if ``label`` turns out at one end of what is likely, and at the other."""

    label: str
    low: Decimal
    high: Decimal

    @property
    def ends(self) -> tuple[Decimal, Decimal]:
        return min(self.low, self.high), max(self.low, self.high)

    @property
    def length(self) -> Decimal:
        return abs(self.high - self.low)


@dataclass(frozen=True, kw_only=True)
class Swings:
    """``base`` is the figure as it stands; ``unit`` a currency's code, ``sums.DAYS``, or ``sums.DAYS_OFF``."""

    figure: str
    base: Decimal
    unit: str
    bars: tuple[Swing, ...]

    @property
    def by_length(self) -> list[Swing]:
        return sorted(self.bars, key=lambda bar: (-bar.length, bar.label))

    @property
    def shown(self) -> list[Swing]:
        return self.by_length[:MOST]


def draw(swings: Swings, *, ident: str, width: int = PHONE) -> SafeString:
    """``ident`` is alone on its page; ``width`` in the picture's units."""
    sheet = _Sheet(swings, width)
    over = f"{ident}-over"
    rows = [_row(sheet, number, bar, over) for number, bar in enumerate(swings.shown)]
    return drawings.picture(
        drawings.hatching(over, gap=5),
        _base(sheet),
        *rows,
        *_rest(sheet),
        width=width,
        height=sheet.bottom + (LINE if _note(swings) else 0) + 6,
        title=_("What moves %(figure)s most") % {"figure": swings.figure},
        words=swings_in_words(swings),
    )


def swings_in_words(swings: Swings) -> str:
    start = _("%(figure)s stands at %(base)s.") % {
        "figure": swings.figure[:1].upper() + swings.figure[1:],
        "base": sums.said(swings.base, swings.unit),
    }
    if not swings.bars:
        return f"{start} {_note(swings)}"
    each = [_said(bar, swings.unit) for bar in swings.shown]
    moved = _("What moves it, most first: %(what)s.") % {"what": "; ".join(each)}
    return " ".join(part for part in (start, moved, _note(swings)) if part)


def _said(bar: Swing, unit: str) -> str:
    low, high = (sums.said(end, unit) for end in bar.ends)
    return _("%(label)s: %(low)s to %(high)s") % {"label": bar.label, "low": low, "high": high}


def _note(swings: Swings) -> str:
    """What stands below the bars."""
    if not swings.bars:
        return _("Nothing is known that would move it.")
    count = len(swings.bars) - len(swings.shown)
    if not count:
        return ""
    return ngettext("%(count)s smaller one is left out.", "%(count)s smaller ones are left out.", count) % {
        "count": count
    }


class _Sheet:
    """Where figures lie on the paper, with room beside the longest bar for what is written at its ends."""

    def __init__(self, swings: Swings, width: int) -> None:
        self.swings = swings
        self.width = width
        self.wide = width >= 500
        labels = max((width_of(bar.label) for bar in swings.shown), default=0) + GAP * 2
        self.first = LEFT + (min(labels, width * MOST_LABEL) if self.wide else 0)
        values = [swings.base, *(end for bar in swings.shown for end in bar.ends)]
        self.least, most = min(values), max(values)
        self.span = (most - self.least) or Decimal(1)
        longest = max(width_of(sums.said(value, swings.unit)) for value in values) + GAP * 2
        room = min(longest, (width - LEFT - self.first - LEAST) / 2)
        self.room = room - GAP
        self.left, self.right = self.first + room, width - LEFT - room
        self.step = BAR + 12 if self.wide else BAR + LINE + 16
        self.bottom = HEAD + 8 + self.step * len(swings.shown)

    def x(self, value: Decimal) -> float:
        return self.left + float((value - self.least) / self.span) * (self.right - self.left)

    def top(self, number: int) -> float:
        """Of the bar itself; its label stands over it, or beside it where there is room."""
        return HEAD + 8 + self.step * number + (0 if self.wide else LINE + 4)


def _base(sheet: _Sheet) -> SafeString:
    """The line all bars start from, interrupted for writing."""
    x = sheet.x(sheet.swings.base)
    words = _("as it stands: %(base)s") % {"base": sums.said(sheet.swings.base, sheet.swings.unit)}
    wide = width_of(words, bold=True)
    middle = min(max(x, LEFT + wide / 2), sheet.width - LEFT - wide / 2)
    pieces = [(sheet.top(number) - 2, sheet.top(number) + BAR + 4) for number in range(len(sheet.swings.shown))]
    return drawings.group(
        drawings.text(middle, LINE, words, size=SIZE, anchor="middle", bold=True),
        pencil.straight(x, LINE + 6, x, HEAD + 2, width=2.5),
        *(pencil.straight(x, top, x, bottom, width=2.5) for top, bottom in pieces),
    )


def _row(sheet: _Sheet, number: int, bar: Swing, over: str) -> SafeString:
    top, base = sheet.top(number), sheet.swings.base
    low, high = bar.ends
    drawn = [_label(sheet, bar.label, top)]
    if low < base:
        drawn.append(_piece(sheet, low, min(high, base), top, drawings.INK))
    if high > base:
        drawn.append(_piece(sheet, max(low, base), high, top, drawings.hatched(over)))
    left, right = sheet.x(min(low, base)), sheet.x(max(high, base))
    for x, value, anchor in ((left - GAP, low, "end"), (right + GAP, high, "start")):
        words = fit(sums.said(value, sheet.swings.unit), sheet.room)
        drawn.append(drawings.text(x, top + BAR - 1, words, size=SIZE, anchor=anchor))
    return drawings.group(*drawn)


def _piece(sheet: _Sheet, start: Decimal, end: Decimal, top: float, fill: str) -> SafeString:
    left, right = sheet.x(start), sheet.x(end)
    return drawings.box(left, top, right - left, BAR, fill=fill)


def _label(sheet: _Sheet, label: str, top: float) -> SafeString:
    if sheet.wide:
        return drawings.text(LEFT, top + BAR - 1, fit(label, sheet.first - LEFT - GAP), size=SIZE)
    return drawings.text(LEFT, top - GAP - 2, fit(label, sheet.width - LEFT * 2), size=SIZE)


def _rest(sheet: _Sheet) -> list[SafeString]:
    swings = sheet.swings
    words = _note(swings)
    if not words:
        return []
    return [drawings.text(LEFT, sheet.bottom + LINE - 2, fit(words, sheet.width - LEFT * 2), size=SIZE)]
