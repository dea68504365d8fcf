"""The restoration's calendar: a stroke for whatever drives the ready day, thick where it does, with the time it could
slip behind it; what must leave by when; and the ready day, as likely and as kept."""

from collections.abc import Iterator
from datetime import date, timedelta

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.papers import drawings
from shop.papers.pictures import PHONE, chances, pencil, posts
from shop.papers.pictures.calendar_layout import BAR, DAY, HEAD, LEFT, Sheet, label_of, link_x, links, said_day
from shop.papers.pictures.calendar_rows import Calendar, Span
from shop.papers.pictures.lettering import LINE, SIZE, fit, width_of

WEEK = timedelta(days=7)
# Weeks closer together than this are no longer told apart.
CLOSEST = 3


def draw(calendar: Calendar, *, ident: str, width: int = PHONE) -> SafeString:
    """``ident`` is alone on its page; ``width`` in the picture's units."""
    sheet = Sheet(calendar, width)
    held = f"{ident}-held"
    below, bottom = posts.draw(_posts(sheet), left=LEFT, right=width - LEFT, top=sheet.ground)
    left_out = _left_out(calendar) if calendar.rows else _("Nothing is planned yet.")
    return drawings.picture(
        drawings.hatching(held, gap=4, leaning="left"),
        *_days(sheet),
        *_weeks(sheet),
        *_rises(sheet),
        *_chain(sheet),
        *(_row(sheet, number, held) for number in range(len(sheet.rows))),
        *_labels(sheet),
        *([drawings.text(LEFT, sheet.ground - 6, fit(left_out, width - LEFT * 2), size=SIZE)] if left_out else []),
        pencil.stroke(LEFT, sheet.ground, width - LEFT, sheet.ground, width=2),
        below,
        width=width,
        height=bottom,
        title=_("Calendar to the ready day"),
        words=calendar_in_words(calendar),
    )


def calendar_in_words(calendar: Calendar) -> str:
    names = {"likely": said_day(calendar.likely, year=True), "kept": said_day(calendar.kept, year=True)}
    chance = {"chance": chances.in_words(calendar.kept_chance)}
    said = [_("Likely ready on %(likely)s; kept %(chance)s by %(kept)s.") % (names | chance)]
    if calendar.promised:
        said.append(_("Promised for %(day)s.") % {"day": said_day(calendar.promised, year=True)})
    if not calendar.rows:
        return " ".join([*said, _("Nothing is planned yet.")])
    if calendar.driving:
        chain = _(", then ").join(row.label for row in calendar.driving)
        said.append(_("What drives it: %(chain)s.") % {"chain": chain})
    leaving = sorted((row.must_leave, row.label) for row in calendar.rows if row.must_leave)
    lots = [_("%(lot)s by %(day)s") % {"lot": label, "day": said_day(day)} for day, label in leaving]
    if lots:
        said.append(_("Must leave: %(lots)s.") % {"lots": "; ".join(lots)})
    return " ".join(said)


def _left_out(calendar: Calendar) -> str:
    count = len(calendar.rows) - len(calendar.shown)
    if not count:
        return ""
    if len(calendar.driving) > len(calendar.shown):
        return ngettext("and %(count)s more", "and %(count)s more", count) % {"count": count}
    words = ngettext("and %(count)s more, which can slip further", "and %(count)s more, which can slip further", count)
    return words % {"count": count}


def _weeks(sheet: Sheet) -> list[SafeString]:
    """A tick for every Monday, a longer one and its name where a month begins."""
    drawn = [pencil.stroke(sheet.left, HEAD - 6, sheet.width - LEFT, HEAD - 6)]
    monday = sheet.first if sheet.per_day * 7 >= CLOSEST else sheet.last + DAY
    while monday <= sheet.last:
        drawn.append(pencil.straight(sheet.x(monday), HEAD - 6, sheet.x(monday), HEAD - 2, width=1))
        monday += WEEK
    free = sheet.left
    for month in _months(sheet.first, sheet.last):
        x, name = max(sheet.x(month), sheet.left), date_format(month, "M Y" if month.month == 1 else "M")
        if x >= free and x + width_of(name) <= sheet.width - LEFT:
            drawn.append(drawings.text(x + 3, LINE - 2, name, size=SIZE))
            drawn.append(pencil.straight(x, LINE - 12, x, HEAD - 6, width=1))
            free = x + width_of(name) + 8
    return drawn


def _months(first: date, last: date) -> Iterator[date]:
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = (month + timedelta(days=32)).replace(day=1)


def _days(sheet: Sheet) -> list[SafeString]:
    """Days on which the shop is shut, as faint ticks under the weeks; longer ones all the way down."""
    drawn = []
    for first, last in _runs(sheet.calendar.closed, sheet.first, sheet.last - DAY):
        long = (last - first).days >= 2
        if not long and sheet.per_day * 7 < CLOSEST:
            continue
        bottom = sheet.ground if long else HEAD + 3
        left, right = sheet.x(first), sheet.after(last)
        middle, width = (left + right) / 2, max(right - left, 0.8)
        faint = 0.1 if long else pencil.FAINT
        drawn.append(
            drawings.box(
                middle - width / 2, HEAD - 2, width, bottom - HEAD + 2, fill=drawings.INK, stroke="none", faint=faint
            )
        )
    return drawn


def _runs(days: frozenset[date], first: date, last: date) -> Iterator[Span]:
    """Closed days next to each other, from the first to the last of each run."""
    inside = sorted(day for day in days if first <= day <= last)
    starts = [day for day in inside if day - DAY not in days or day == first]
    ends = [day for day in inside if day + DAY not in days or day == last]
    yield from zip(starts, ends, strict=True)


def _rises(sheet: Sheet) -> list[SafeString]:
    drawn: list[SafeString] = []
    for day, width, dashes in sheet.ready:
        drawn += _down(sheet, sheet.after(day), HEAD, sheet.ground, width=width, dashes=dashes)
    return drawn


def _posts(sheet: Sheet) -> list[posts.Post]:
    calendar = sheet.calendar
    kept = {"chance": chances.in_words(calendar.kept_chance), "day": said_day(calendar.kept)}
    marks = [
        posts.Post(sheet.after(calendar.likely), _("likely %(day)s") % {"day": said_day(calendar.likely)}),
        posts.Post(sheet.after(calendar.kept), _("kept %(chance)s: %(day)s") % kept, bold=True),
    ]
    if calendar.promised:
        words = _("promised %(day)s") % {"day": said_day(calendar.promised)}
        marks.append(posts.Post(sheet.after(calendar.promised), words, dashes="6 4"))
    return marks


def _chain(sheet: Sheet) -> list[SafeString]:
    """From each bar that drives the day down to the next, and from the last to the ready day."""
    drawn = []
    for number, following in links(sheet):
        x, y, start = link_x(sheet, number, following), sheet.middle(following), sheet.x(sheet.rows[following].start)
        drawn += _down(sheet, x, sheet.middle(number), y, width=2.5)
        drawn.append(pencil.straight(x, y, max(x, start), y, width=2.5))
    for number, row in [pair for pair in enumerate(sheet.rows) if pair[1].drives][-1:]:
        y, ready = sheet.middle(number), sheet.after(sheet.calendar.likely)
        drawn.append(pencil.straight(sheet.after(row.finish), y, max(ready, sheet.after(row.finish)), y, width=2.5))
    return drawn


def _down(sheet: Sheet, x: float, top: float, bottom: float, *, width: float, dashes: str = "none") -> list[SafeString]:
    """A stroke that stops short of any label in its way and goes on below it."""
    pieces = []
    for room in sheet.label_rooms:
        if room.left - 3 < x < room.right + 3 and top < room.bottom and room.top < bottom:
            pieces.append((top, room.top - 1))
            top = room.bottom + 1
    pieces.append((top, bottom))
    return [pencil.straight(x, y1, x, y2, width=width, dashes=dashes) for y1, y2 in pieces if y2 > y1]


def _row(sheet: Sheet, number: int, held: str) -> SafeString:
    row, top = sheet.rows[number], sheet.top(number)
    left, right = sheet.x(row.start), max(sheet.after(row.finish), sheet.x(row.start) + 1.5)
    fill = drawings.INK if row.drives else "none"
    drawn = [drawings.box(left, top, right - left, BAR, fill=fill, radius=min(BAR / 2, (right - left) / 2))]
    for first, last in row.held:
        drawn.append(_held(sheet.x(first), sheet.after(last), top, held))
    if row.end > row.finish:
        drawn.append(_slack(right, sheet.after(row.end), sheet.middle(number)))
    if row.must_leave:
        drawn.append(_flag(sheet.x(row.must_leave), top))
    return drawings.group(*drawn)


def _held(left: float, right: float, top: float, name: str) -> SafeString:
    return drawings.box(left, top - 2, right - left, BAR + 4, fill=drawings.hatched(name))


def _slack(left: float, right: float, y: float) -> SafeString:
    return drawings.group(
        pencil.straight(left, y, right, y, width=1),
        pencil.straight(right, y - 3, right, y + 3, width=1),
    )


def _flag(x: float, top: float) -> SafeString:
    """A pennant on the day by which the lot must be gone."""
    foot = top + BAR + 8
    tip = x - 8 if x > LEFT + 8 else x + 8
    return drawings.group(
        pencil.straight(x, top - 1, x, foot, width=1.5),
        pencil.outline([(x, foot), (tip, foot - 3), (x, foot - 6)], fill=drawings.INK, width=1),
    )


def _labels(sheet: Sheet) -> list[SafeString]:
    return [
        drawings.text(label.x, label.y, label.words, size=SIZE, bold=label.bold)
        for number in range(len(sheet.rows))
        for label in label_of(sheet, number)
    ]
