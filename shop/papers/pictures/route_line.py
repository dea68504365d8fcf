"""One part's route as a line along the bench, left to right: knots for own operations, hops for what a vendor does, a
drop from outside for what is bought, tags for what it waits on, and the ways back underneath."""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from shop.papers import drawings
from shop.papers.pictures import PHONE, bench, chances, pencil, sums
from shop.papers.pictures.lettering import LINE, SIZE, fit, wrap
from shop.papers.pictures.ways_back import WayBack, legs

OWN, VENDOR, PURCHASE = "own", "vendor", "purchase"
KINDS = (OWN, VENDOR, PURCHASE)

RIGHT = 8
GUTTER = 14
LEAD = 30
PITCH = 92
WIDEST = 110
NAME_LINES = 3
LIFT = {OWN: 10, VENDOR: 26, PURCHASE: 32}
LEVEL = 20
SLOT = 8
CLEAR = 4
AGAIN_UP, AGAIN_DOWN, DOWN, UP = "again up", "again down", "down", "up"


@dataclass(frozen=True, kw_only=True)
class Stop:
    """One step. ``days`` [working days] are a vendor's or supplier's; ``then_waits`` says how long the part stands
    without hands afterwards ("45 min oven"); ``waits_on`` are names of parts."""

    name: str
    kind: str = OWN
    outside: str = ""
    days: Decimal | None = None
    then_waits: str = ""
    waits_on: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"A step is one of {', '.join(KINDS)}, not {self.kind}.")


@dataclass(frozen=True, kw_only=True)
class RouteLine:
    """``ways_back`` count stops from 0. Raises ``ValueError`` for one that leads onwards or nowhere."""

    part: str
    stops: tuple[Stop, ...]
    ways_back: tuple[WayBack, ...] = ()

    def __post_init__(self) -> None:
        if not all(0 <= way.to <= way.start < len(self.stops) for way in self.ways_back):
            raise ValueError("A way back leads from a step to the same or an earlier one of the route.")


def draw(route: RouteLine, *, width: int = PHONE) -> SafeString:
    """``width`` in the picture's units; the line goes on in a new row where it is full."""
    sheet = _Sheet(route, width)
    drawn = [_stop(sheet, number) for number in range(len(route.stops))]
    rows = [_row(sheet, row) for row in range(sheet.rows)]
    back = [_way_back(sheet, way) for way in route.ways_back]
    nothing = [drawings.text(4, LINE, fit(_("No steps yet."), width - 8), size=SIZE)] if not route.stops else []
    return drawings.picture(
        *rows,
        *drawn,
        *back,
        *nothing,
        width=width,
        height=sheet.bottom,
        title=_("Route: %(part)s") % {"part": route.part},
        words=route_in_words(route),
    )


def route_in_words(route: RouteLine) -> str:
    if not route.stops:
        return _("%(part)s: no steps yet.") % {"part": route.part}
    steps = "; ".join(f"{number}. {_said(stop)}" for number, stop in enumerate(route.stops, start=1))
    back = [_back_said(route, way) for way in route.ways_back]
    return " ".join([_("%(part)s: %(steps)s.") % {"part": route.part, "steps": steps}, *back])


def _said(stop: Stop) -> str:
    said = [stop.name, *([where] if (where := _outside(stop)) else [])]
    if stop.waits_on:
        said.append(_("waits for %(parts)s") % {"parts": ", ".join(stop.waits_on)})
    if stop.then_waits:
        said.append(_("then stands %(how_long)s") % {"how_long": stop.then_waits})
    return ", ".join(said)


def _outside(stop: Stop) -> str:
    if stop.kind == OWN:
        return ""
    words = _("out at %(vendor)s") if stop.kind == VENDOR else _("bought from %(vendor)s")
    where = words % {"vendor": stop.outside or _("nobody named yet")}
    return where if stop.days is None else f"{where}, {sums.days(stop.days)}"


def _back_said(route: RouteLine, way: WayBack) -> str:
    names = {"chance": chances.in_words(way.chance), "step": route.stops[way.start].name}
    if way.start == way.to:
        return chances.capital(_("%(chance)s, %(step)s is done again.") % names)
    words = _("%(chance)s, %(step)s leads back to %(earlier)s.") % (names | {"earlier": route.stops[way.to].name})
    return chances.capital(words)


class _Sheet:
    """Where stops lie on the paper: columns, rows, and what is above and below the line of each row."""

    def __init__(self, route: RouteLine, width: int) -> None:
        self.route = route
        self.width = width
        count = len(route.stops)
        room = width - GUTTER - LEAD - RIGHT
        self.rows = -(-count // int(room // PITCH))
        self.in_row = -(-count // self.rows) if count else 1
        self.pitch = min(WIDEST, room / self.in_row)
        self.levels = legs(route.ways_back, self.in_row)
        self.lines: list[float] = []
        self.bottom = 6.0
        for row in range(self.rows):
            line = self.bottom + self._above(row)
            self.lines.append(line)
            self.bottom = line + self.hang(row) + self.levels.depth(row) * LEVEL + 12
        self.bottom = max(self.bottom, LINE + 8)

    def stops(self, row: int) -> range:
        return range(row * self.in_row, min((row + 1) * self.in_row, len(self.route.stops)))

    def row(self, number: int) -> int:
        return number // self.in_row

    def x(self, number: int) -> float:
        return GUTTER + LEAD + (number % self.in_row + 0.5) * self.pitch

    def line(self, number: int) -> float:
        return self.lines[self.row(number)]

    def writing(self, number: int) -> list[tuple[str, bool]]:
        """What stands over the line at a stop, the topmost first; bold or not."""
        stop, room = self.route.stops[number], self.pitch - 4
        written = [(line, True) for line in wrap(stop.name, room, lines=NAME_LINES, bold=True)]
        if stop.kind != OWN:
            written += [(line, False) for line in wrap(stop.outside or _("nobody yet"), room, lines=2)]
            written += [(fit(sums.days(stop.days), room), False)] if stop.days is not None else []
        return written

    def hanging(self, number: int) -> list[list[str]]:
        """The tags before a stop, each in lines."""
        left, right = self.gap(number)
        return [wrap(part, right - left - 8, lines=2) for part in self.route.stops[number].waits_on]

    def gap(self, number: int) -> tuple[float, float]:
        """From where to where something may hang before a stop, clear of ways back at the stops on both sides."""
        right = self.x(number) + min(self.slots(number).values(), default=0) - CLEAR
        if not number % self.in_row:
            return GUTTER, right
        return self.x(number - 1) + max(self.slots(number - 1).values(), default=0) + CLEAR, right

    def slots(self, number: int) -> dict[str, float]:
        """Where under a stop its ways back go down and come up, to the right of its middle."""
        ways = self.route.ways_back
        used = {
            AGAIN_UP: any(way.start == way.to == number for way in ways),
            AGAIN_DOWN: any(way.start == way.to == number for way in ways),
            DOWN: any(way.start == number != way.to for way in ways),
            UP: any(way.to == number != way.start for way in ways),
        }
        names = [name for name, is_used in used.items() if is_used]
        return {name: (place - (len(names) - 1) / 2) * SLOT for place, name in enumerate(names)}

    def hang(self, row: int) -> float:
        """How far tags and waits hang below the line."""
        tags = max(self.tags_top(number) + _tall(self.hanging(number)) for number in self.stops(row))
        return max(tags, LINE * len(self.standing(self.stops(row)[-1])) + 5) + 4

    def tags_top(self, number: int) -> float:
        """How far below the line the tags before a stop begin."""
        return 6.0 + LINE * (len(self.standing(number - 1)) if number % self.in_row else 0)

    def standing(self, number: int) -> list[str]:
        """What is written under the stretch after a stop."""
        left, right = self.stretch(number)
        return wrap(self.route.stops[number].then_waits, right - left, lines=3)

    def standing_top(self, number: int) -> float:
        """A little lower at the end of a row, clear of the break mark."""
        return 5 if self.is_last(number) else 0

    def stretch(self, number: int) -> tuple[float, float]:
        """From where to where there is room under the line after a stop."""
        if not self.is_last(number):
            return self.gap(number + 1)
        left = self.x(number) + max(self.slots(number).values(), default=0) + CLEAR
        return left, self.x(number) + self.pitch / 2 + RIGHT - 2

    def is_last(self, number: int) -> bool:
        return number + 1 not in self.stops(self.row(number))

    def _above(self, row: int) -> float:
        return max(LINE * len(self.writing(n)) + LIFT[self.route.stops[n].kind] for n in self.stops(row))

    def level(self, row: int, depth: int) -> float:
        return self.lines[row] + self.hang(row) + (depth + 1) * LEVEL - 6


def _tall(tags: list[list[str]]) -> float:
    return sum(LINE * len(tag) + 10 for tag in tags)


def _row(sheet: _Sheet, row: int) -> SafeString:
    """The bench line of a row: broken where the part is out or stands, and with a break mark where it goes on."""
    y, stops = sheet.lines[row], sheet.stops(row)
    start = sheet.x(stops[0]) - sheet.pitch / 2 - LEAD
    end = sheet.x(stops[-1]) + sheet.pitch / 2
    drawn = [pencil.stroke(start if row else start + 6, y, start + LEAD, y, width=2.5)]
    if row:
        drawn.append(bench.break_mark(start + 2, y))
    if row < sheet.rows - 1:
        drawn.append(bench.break_mark(end, y))
    else:
        drawn.append(pencil.straight(end, y - 6, end, y + 6, width=2.5))
    return drawings.group(*drawn)


def _stop(sheet: _Sheet, number: int) -> SafeString:
    stop, x, y = sheet.route.stops[number], sheet.x(number), sheet.line(number)
    shape = {OWN: bench.knot, VENDOR: bench.hop, PURCHASE: bench.drop}[stop.kind]
    return drawings.group(
        shape(x, y, sheet.pitch / 2, bool(stop.then_waits)),
        *_over(sheet, number),
        *_tags(sheet, number),
        *_stands(sheet, number),
    )


def _over(sheet: _Sheet, number: int) -> list[SafeString]:
    written = sheet.writing(number)
    lowest = sheet.line(number) - LIFT[sheet.route.stops[number].kind] - 4
    first = lowest - LINE * (len(written) - 1)
    return [
        drawings.text(sheet.x(number), first + LINE * place, words, size=SIZE, anchor="middle", bold=bold)
        for place, (words, bold) in enumerate(written)
    ]


def _stands(sheet: _Sheet, number: int) -> list[SafeString]:
    """How long the part stands, under the broken stretch after the stop."""
    left, right = sheet.stretch(number)
    y, lines = sheet.line(number) + sheet.standing_top(number) + LINE, sheet.standing(number)
    return [
        drawings.text((left + right) / 2, y + LINE * place, words, size=SIZE, anchor="middle")
        for place, words in enumerate(lines)
    ]


def _tags(sheet: _Sheet, number: int) -> list[SafeString]:
    """What the stop waits on, wired to the line before it, one tag under the other."""
    left, right = sheet.gap(number)
    top = sheet.line(number) + sheet.tags_top(number)
    wire = top if top > sheet.line(number) + LINE else sheet.line(number)
    drawn = []
    for lines in sheet.hanging(number):
        drawn.append(bench.tag((left + right) / 2, wire, top + 6, lines))
        wire = top + LINE * len(lines) + 8
        top += LINE * len(lines) + 10
    return drawn


def _way_back(sheet: _Sheet, way: WayBack) -> SafeString:
    """Down from the stop, along under the line, round the left edge where rows change, and up to where it begins anew."""
    start, end = sheet.row(way.start), sheet.row(way.to)
    again = way.start == way.to
    x1 = sheet.x(way.start) + sheet.slots(way.start)[AGAIN_DOWN if again else DOWN]
    x2 = sheet.x(way.to) + sheet.slots(way.to)[AGAIN_UP if again else UP]
    y1, y2 = sheet.line(way.start) + 9, sheet.line(way.to) + 9
    low = sheet.level(start, sheet.levels.of(way, start))
    around = []
    if start != end:
        high, edge = sheet.level(end, sheet.levels.of(way, end)), sheet.levels.lane(way)
        around = [(edge, low), (edge, high), (x2, high)]
    corners = [(x1, y1), (x1, low), *(around or [(x2, low)]), (x2, y2)]
    beside, anchor = (x2 - 6, "end") if again else (sum(sheet.gap(way.start)) / 2, "middle")
    return drawings.group(
        bench.rounded(corners),
        pencil.arrow_head(x2, y2, towards="up"),
        drawings.text(beside, low - 4, chances.odds(way.chance), size=SIZE, anchor=anchor),
    )
