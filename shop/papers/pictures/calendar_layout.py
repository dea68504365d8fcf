"""Where days, rows and what is written at them lie on the paper."""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from shop.papers.pictures.calendar_rows import Calendar
from shop.papers.pictures.lettering import LINE, fit, room_of, width_of

LEFT = 4
BAR = 9
HEAD = LINE + 16
DAY = timedelta(days=1)


class Sheet:
    """Where days and rows lie on the paper. Labels stand over their bars, or at the left where there is room."""

    def __init__(self, calendar: Calendar, width: int) -> None:
        self.calendar = calendar
        self.rows = calendar.shown
        self.width = width
        self.wide = width >= 500
        marks = [day for day in (calendar.likely, calendar.kept, calendar.promised) if day]
        days = [*marks, *(day for row in self.rows for day in row.days)]
        self.first = min(days) - timedelta(days=min(days).weekday())
        self.last = max(days) + timedelta(days=7 - max(days).weekday())
        self.left = width * 0.36 if self.wide else LEFT
        self.step = (LINE * 2 + 6) if self.wide else LINE + BAR + 12
        self.per_day = (width - LEFT - self.left) / (self.last - self.first).days
        extra = LINE if len(calendar.rows) > len(self.rows) or not self.rows else 0
        self.ground = HEAD + 6 + self.step * len(self.rows) + extra + 4
        labels = [label for number in range(len(self.rows)) for label in label_of(self, number)]
        self.label_rooms = [room_of(label.words, label.x, label.y, bold=label.bold) for label in labels]

    def x(self, day: date) -> float:
        """Where the day begins."""
        return self.left + (day - self.first).days * self.per_day

    def after(self, day: date) -> float:
        return self.x(day + DAY)

    def top(self, number: int) -> float:
        """Of a row's bar."""
        over = (self.step - BAR) / 2 if self.wide else LINE + 4
        return HEAD + 4 + self.step * number + over

    def middle(self, number: int) -> float:
        return self.top(number) + BAR / 2

    @property
    def ready(self) -> list[tuple[date, float, str]]:
        """Each with the width and the dashes of its post."""
        calendar = self.calendar
        posts_of = [(calendar.likely, 1.2, "none"), (calendar.kept, 2.5, "none")]
        return [*posts_of, *([(calendar.promised, 1.8, "6 4")] if calendar.promised else [])]


def links(sheet: Sheet) -> list[tuple[int, int]]:
    return list(pairwise(number for number, row in enumerate(sheet.rows) if row.drives))


def link_x(sheet: Sheet, number: int, following: int) -> float:
    return min(
        sheet.after(sheet.rows[number].finish),
        max(sheet.x(sheet.rows[following].start), sheet.x(sheet.rows[number].start)),
    )


class Label(NamedTuple):
    words: str
    x: float
    y: float
    bold: bool = False


def label_of(sheet: Sheet, number: int) -> list[Label]:
    row = sheet.rows[number]
    leave = _("leave by %(day)s") % {"day": said_day(row.must_leave)} if row.must_leave else ""
    if sheet.wide:
        return _label_at_left(sheet, number, row.label, leave)
    words = f"{row.label} · {leave}" if leave else row.label
    words = fit(words, sheet.width - LEFT * 2, bold=row.drives)
    return [Label(words, _free_place(sheet, number, words), sheet.top(number) - 5, row.drives)]


def _label_at_left(sheet: Sheet, number: int, label: str, leave: str) -> list[Label]:
    room, bold = sheet.left - LEFT - 8, sheet.rows[number].drives
    lines = [(label, bold), *([(leave, False)] if leave else [])]
    first = sheet.middle(number) + 4 - (LINE / 2 if leave else 0)
    return [
        Label(fit(words, room, bold=heavy), LEFT, first + LINE * place, heavy)
        for place, (words, heavy) in enumerate(lines)
    ]


def _free_place(sheet: Sheet, number: int, words: str) -> float:
    """Over its bar, or as near to it as no stroke runs through; where there is no such place the strokes give way."""
    wanted, width = sheet.x(sheet.rows[number].start), width_of(words, bold=sheet.rows[number].drives)
    gaps = [(left, right) for left, right in _gaps(sheet, number) if right - left >= width]
    places = [min(max(wanted, left), right - width) for left, right in gaps]
    return min(places, key=lambda x: abs(x - wanted), default=max(LEFT, min(wanted, sheet.width - LEFT - width)))


def _gaps(sheet: Sheet, number: int) -> Iterator[tuple[float, float]]:
    """Between the strokes that run through a row's line of writing."""
    through = [sheet.after(day) for day, _width, _dashes in sheet.ready]
    through += [link_x(sheet, one, other) for one, other in links(sheet) if one < number <= other]
    edges = [LEFT - 4.0, *sorted(through), sheet.width - LEFT + 4.0]
    yield from ((left + 4, right - 4) for left, right in pairwise(edges))


def said_day(day: date, *, year: bool = False) -> str:
    return date_format(day, "j M Y" if year else "j M")
