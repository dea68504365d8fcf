"""What something cost over time: level from the day a price was noted to the day of the next, then a step."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from shop.papers import drawings
from shop.papers.pictures import PHONE, pencil
from shop.papers.pictures.lettering import LINE, SIZE, fit, width_of

LEFT = 6
TOP = LINE * 2 + 14
RISE = 70
FOOT = LINE + 8
# What a price that has always been the same is drawn at, of the height.
LEVEL = Decimal("0.5")
# Beyond today the line goes on by this share of the time shown, so that one sees what holds.
ONWARDS = Decimal("0.08")


@dataclass(frozen=True, kw_only=True)
class PriceLine:
    """``notes`` are days and figures in rising order of days, one for each day; ``written`` writes a figure."""

    figure: str
    notes: tuple[tuple[date, Decimal], ...]
    today: date
    written: Callable[[Decimal], str]

    def __post_init__(self) -> None:
        days = [day for day, _value in self.notes]
        if not days or sorted(set(days)) != days:
            raise ValueError("A line of prices needs one note at least, and each later than the one before.")


def draw(prices: PriceLine, *, width: int = PHONE) -> SafeString:
    """``width`` in the picture's units."""
    sheet = _Sheet(prices, width)
    return drawings.picture(
        pencil.stroke(LEFT, sheet.foot, width - LEFT, sheet.foot, faint=pencil.FAINT),
        drawings.curve(sheet.points(), width=2.5),
        *(drawings.dot(sheet.x(day), sheet.y(value), 4) for day, value in prices.notes),
        drawings.text(LEFT, LINE - 2, fit(prices.figure, width - 2 * LEFT, bold=True), size=SIZE, bold=True),
        *_figures(sheet),
        *_days(sheet),
        width=width,
        height=sheet.foot + FOOT,
        title=_("%(figure)s over time") % {"figure": prices.figure},
        words=in_words(prices),
    )


def in_words(prices: PriceLine) -> str:
    """The same as the picture says."""
    told = [
        _("%(value)s from %(day)s") % {"value": prices.written(value), "day": _day(day)} for day, value in prices.notes
    ]
    return _("%(figure)s: %(told)s.") % {"figure": prices.figure, "told": "; ".join(told)}


class _Sheet:
    def __init__(self, prices: PriceLine, width: int) -> None:
        self.prices = prices
        self.width = width
        first, last = prices.notes[0][0], max(prices.notes[-1][0], prices.today)
        self.first = first
        self.span = Decimal(max((last - first).days, 1)) * (1 + ONWARDS)
        values = [value for _day, value in prices.notes]
        self.least, most = min(values), max(values)
        self.height = most - self.least
        self.foot = TOP + RISE + 8

    def x(self, day: date) -> float:
        return LEFT + 4 + float(Decimal((day - self.first).days) / self.span) * (self.width - 2 * LEFT - 4)

    def y(self, value: Decimal) -> float:
        share = (value - self.least) / self.height if self.height else LEVEL
        return TOP + RISE - float(share) * RISE

    def points(self) -> list[tuple[drawings.Number, drawings.Number]]:
        found: list[tuple[drawings.Number, drawings.Number]] = []
        for number, (day, value) in enumerate(self.prices.notes):
            if number:
                found.append((self.x(day), found[-1][1]))
            found.append((self.x(day), self.y(value)))
        return [*found, (self.width - LEFT, found[-1][1])]


def _figures(sheet: _Sheet) -> list[SafeString]:
    """The figure over each step, where there is room beside the one before; the last always."""
    drawn: list[SafeString] = []
    free = float("inf")
    for day, value in reversed(sheet.prices.notes):
        words = sheet.prices.written(value)
        wide = width_of(words)
        x = min(sheet.x(day) - 2, sheet.width - LEFT - wide)
        if x + wide + 8 <= free:
            drawn.append(drawings.text(max(x, LEFT), sheet.y(value) - 8, words, size=SIZE))
            free = x
    return drawn


def _days(sheet: _Sheet) -> list[SafeString]:
    """The first day and today, below the line."""
    first, today = _day(sheet.prices.notes[0][0]), _("today")
    x = sheet.x(sheet.prices.today)
    base = sheet.foot + LINE
    drawn = [drawings.text(LEFT, base, fit(first, sheet.width / 2), size=SIZE)]
    if sheet.prices.today >= sheet.first and x - width_of(today) / 2 > LEFT + width_of(first) + 8:
        middle = min(x, sheet.width - LEFT - width_of(today) / 2)
        drawn += [
            pencil.straight(x, TOP - 4, x, sheet.foot, dashes="2 4", faint=pencil.FAINT),
            drawings.text(middle, base, today, size=SIZE, anchor="middle"),
        ]
    return drawn


def _day(day: date) -> str:
    return date_format(day, "DATE_FORMAT")
