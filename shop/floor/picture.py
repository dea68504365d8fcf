"""A person's day as a strip: a bar for every clocking, breaks left open, time with nothing noted as a bare line. It says the
same in words."""

from collections.abc import Callable
from datetime import datetime, timedelta

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from quotes.engine.attended import instant
from shop.floor.clockings import clock
from shop.floor.selectors import Day, Line
from shop.papers import drawings
from shop.papers.pictures import PHONE, pencil
from shop.papers.pictures.lettering import LINE, SIZE, width_of

At = Callable[[datetime], float]
HOUR = timedelta(hours=1)
LEFT, TOP, BAR = 6, 8, 26
BASE = TOP + BAR + 6
#: At least so much of the day is drawn, so that one short clocking does not fill the strip.
LEAST = 8 * HOUR


def draw(day: Day, *, ident: str, width: int = PHONE) -> SafeString:
    """``ident`` is alone on its page. Recalled bars are hatched, so that they differ by more than colour."""
    first, last = _stretch(day)
    recalled = f"{ident}-recalled"

    def x(at: datetime) -> float:
        return LEFT + (at - first) / (last - first) * (width - LEFT * 2)

    return drawings.picture(
        drawings.hatching(recalled, gap=5),
        *(bar for line in day.lines for bar in _bars(line, x, recalled)),
        pencil.stroke(LEFT, BASE, width - LEFT, BASE, width=2),
        *_hours(first, last, x, width),
        width=width,
        height=BASE + 8 + LINE + 4,
        title=_("The day"),
        words=in_words(day),
    )


def in_words(day: Day) -> str:
    told = [
        _("%(begins)s to %(ends)s: %(task)s")
        % {"begins": clock(line.began_at), "ends": _until(line), "task": line.row.task}
        for line in day.lines
    ]
    return "; ".join(told) + "." if told else _("Nothing is noted.")


def _until(line: Line) -> str:
    return _("now") if line.open else clock(line.ended_at)


def _stretch(day: Day) -> tuple[datetime, datetime]:
    """Whole hours around what is noted, within the day."""
    if not day.lines:
        return day.begin + 8 * HOUR, day.begin + 17 * HOUR
    first, last = day.lines[0].began_at, day.lines[-1].ended_at
    first = max(day.begin, first.replace(minute=0, second=0, microsecond=0))
    last = last if last == last.replace(minute=0, second=0, microsecond=0) else last.replace(minute=0, second=0) + HOUR
    last = max(last, first + LEAST)
    if last > day.end:
        first, last = max(day.begin, min(first, day.end - LEAST)), day.end
    return first, last


def _bars(line: Line, x: At, recalled: str) -> list[SafeString]:
    drawn = []
    for piece in line.pieces:
        if piece.task is None:
            continue
        left, right = x(instant(piece.first)), x(instant(piece.last))
        fill = drawings.hatched(recalled) if line.recalled else drawings.INK
        drawn.append(drawings.box(left, TOP, max(right - left - 1, 1), BAR, fill=fill, radius=2))
    if line.open:
        end = x(line.ended_at)
        drawn.append(pencil.arrow_head(end + 6, TOP + BAR / 2, towards="right"))
    return drawn


def _hours(first: datetime, last: datetime, x: At, width: int) -> list[SafeString]:
    drawn, free = [], float(LEFT)
    at = first
    while at <= last:
        place, words = x(at), clock(at)
        drawn.append(pencil.straight(place, BASE, place, BASE + 5, width=1))
        half = width_of(words) / 2
        middle = min(max(place, LEFT + half), width - LEFT - half)
        if middle - half >= free:
            drawn.append(drawings.text(middle, BASE + 6 + LINE, words, size=SIZE, anchor="middle"))
            free = middle + half + 10
        at += HOUR
    return drawn
