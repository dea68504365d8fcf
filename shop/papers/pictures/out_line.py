"""What is out, as bars over a line of days: from the day it left to the day we were told; hatched past that day.

A bar without a told day is open at its end. The words above each bar say all that it shows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.papers import drawings
from shop.papers.pictures import PHONE, pencil
from shop.papers.pictures.lettering import LINE, SIZE, fit, width_of

MOST = 12
LEFT, RIGHT = 6, 6
HEAD, BAR, ROW = 38, 10, LINE + 20
#: What left longer ago begins at the edge, with a torn end; days.
BACK, AHEAD = 42, 14
DAY = timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A lot that is out. ``due`` is the day we were told last, None where nobody said one."""

    name: str
    where: str
    since: date
    due: date | None = None


def draw(bars: Sequence[Bar], *, today: date, ident: str, width: int = PHONE) -> SafeString:
    """``ident`` is alone on its page. What is late comes first in ``bars``, as whoever calls has put it."""
    shown = bars[:MOST]
    sheet = _Sheet(shown, today, width)
    late = f"{ident}-late"
    more = len(bars) - len(shown)
    bottom = HEAD + ROW * len(shown) + (LINE + 4 if more else 4)
    words = ngettext("and %(count)s more", "and %(count)s more", more) % {"count": more}
    return drawings.picture(
        drawings.hatching(late, gap=4, width=1.4),
        *_weeks(sheet),
        *(_row(sheet, number, bar, late) for number, bar in enumerate(shown)),
        _today(sheet),
        *([drawings.text(LEFT, bottom - 4, words, size=SIZE)] if more else []),
        width=width,
        height=bottom + 2,
        title=_("What is out"),
        words=in_words(bars, today),
    )


def in_words(bars: Sequence[Bar], today: date) -> str:
    """The same, in a sentence for each lot."""
    return " ".join(_("%(lot)s at %(vendor)s: %(said)s.") % _named(bar, today) for bar in bars[:MOST])


def _named(bar: Bar, today: date) -> dict[str, str]:
    return {"lot": bar.name, "vendor": bar.where, "said": said(bar, today)}


def said(bar: Bar, today: date) -> str:
    """How far off its day is."""
    if bar.due is None:
        return _("no day told")
    left = (bar.due - today).days
    told = {"day": date_format(bar.due, "D j M"), "count": abs(left)}
    if left < 0:
        return ngettext("due %(day)s, %(count)s day late", "due %(day)s, %(count)s days late", -left) % told
    if left == 0:
        return _("due today")
    return _("due %(day)s") % told


class _Sheet:
    """Where days lie across the paper."""

    def __init__(self, bars: Sequence[Bar], today: date, width: int) -> None:
        self.today, self.width = today, width
        self.first = max(min((bar.since for bar in bars), default=today), today - BACK * DAY) - DAY
        self.last = min(max((bar.due or today for bar in bars), default=today), today + 3 * BACK * DAY)
        self.last = max(self.last, today + AHEAD * DAY)
        #: Where the strokes beside each bar begin.
        self.rows = [HEAD + ROW * number + LINE for number in range(len(bars))]
        self.per_day = (width - LEFT - RIGHT) / ((self.last - self.first).days + 1)

    def x(self, day: date) -> float:
        """Where a day begins, kept on the paper."""
        place = LEFT + (day - self.first).days * self.per_day
        return min(max(place, LEFT), self.width - RIGHT)


def _weeks(sheet: _Sheet) -> list[SafeString]:
    """A faint stroke beside every bar for each Monday, with its day where there is room; none runs through words."""
    drawn = [pencil.stroke(LEFT, HEAD - 6, sheet.width - RIGHT, HEAD - 6, width=1)]
    rows = sheet.rows
    monday, free = sheet.first + (-sheet.first.weekday() % 7) * DAY, 0.0
    while monday <= sheet.last:
        x, name = sheet.x(monday), date_format(monday, "j M")
        drawn += [pencil.straight(x, top, x, top + BAR + 4, width=1, faint=pencil.FAINT) for top in rows]
        room = x + 2 + width_of(name)
        if x + 2 >= free and room <= sheet.width - RIGHT:
            drawn.append(drawings.text(x + 2, HEAD - 10, name, size=SIZE))
            free = room + 6
        monday += 7 * DAY
    return drawn


def _today(sheet: _Sheet) -> SafeString:
    x, name = sheet.x(sheet.today), _("today")
    half = width_of(name, bold=True) / 2
    middle = min(max(x, LEFT + half), sheet.width - RIGHT - half)
    return drawings.group(
        pencil.straight(x, HEAD - 10, x, HEAD - 2, width=2),
        *(pencil.straight(x, top - 2, x, top + BAR + 6, width=2) for top in sheet.rows),
        drawings.text(middle, LINE - 4, name, size=SIZE, anchor="middle", bold=True),
    )


def _row(sheet: _Sheet, number: int, bar: Bar, late: str) -> SafeString:
    top = HEAD + ROW * number
    room = sheet.width - LEFT - RIGHT
    due = said(bar, sheet.today)
    whose = fit(f"{bar.name} {bar.where}", room - width_of(due) - SIZE, bold=True)
    at = LEFT + width_of(whose, bold=True) + SIZE / 2
    label = drawings.text(LEFT, top + LINE - 3, whose, size=SIZE, bold=True)
    return drawings.group(
        label, drawings.text(at, top + LINE - 3, due, size=SIZE), *_bar(sheet, bar, top + LINE + 2, late)
    )


def _bar(sheet: _Sheet, bar: Bar, top: float, late: str) -> list[SafeString]:
    left, middle = sheet.x(bar.since), top + BAR / 2
    end = bar.due if bar.due is not None else max(sheet.today, bar.since)
    right = max(sheet.x(end + DAY), left + 3)
    drawn = [drawings.box(left, top, right - left, BAR, fill=drawings.INK, stroke="none", faint=0.55)]
    if bar.since < sheet.first:
        drawn.append(pencil.arrow_head(LEFT, middle, towards="left"))
    if bar.due is None:
        drawn.append(pencil.straight(right, middle, min(right + 24, sheet.width - RIGHT), middle, dashes="3 4"))
    elif bar.due < sheet.today:
        drawn.append(
            drawings.box(right, top, max(sheet.x(sheet.today + DAY) - right, 3), BAR, fill=drawings.hatched(late))
        )
    return drawn
