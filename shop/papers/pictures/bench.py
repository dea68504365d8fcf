"""What a route is drawn of: knots, hops, drops, tags and rounded ways along a bench line. Lengths are the picture's units."""

from django.utils.safestring import SafeString

from shop.papers import drawings
from shop.papers.drawings import bend, move, to
from shop.papers.pictures import pencil
from shop.papers.pictures.lettering import LINE, SIZE, width_of


def break_mark(x: float, y: float) -> SafeString:
    """The short zigzag of a line that goes on elsewhere (the draughtsman's break line)."""
    return drawings.path(
        move(x - 2, y - 9) + to(x - 2, y - 3) + to(x + 3, y - 1) + to(x - 5, y + 2) + to(x, y + 4) + to(x, y + 9)
    )


def knot(x: float, y: float, half: float, stands: bool) -> SafeString:
    return drawings.group(_bench(x - half, x, y), _after(x, half, y, stands), drawings.dot(x, y, 5))


def hop(x: float, y: float, half: float, stands: bool) -> SafeString:
    """Off the bench and back on to it; the bench itself is only dotted meanwhile."""
    out, back = x - half * 0.72, x + half * 0.72
    hop = drawings.path(
        move(out, y) + bend(x - half * 0.5, y - 20, x, y - 20) + bend(x + half * 0.5, y - 20, back, y), width=2.5
    )
    return drawings.group(
        _bench(x - half, out, y),
        hop,
        pencil.straight(out + 4, y, back - 4, y, dashes="1 5", faint=pencil.FAINT),
        drawings.dot(out, y, 2.5),
        drawings.dot(back, y, 2.5),
        _after(back, x + half - back, y, stands),
    )


def drop(x: float, y: float, half: float, stands: bool) -> SafeString:
    """From outside on to the bench, where it meets a ring."""
    return drawings.group(
        _bench(x - half, x - 6, y),
        drawings.path(move(x, y - 28) + to(x, y - 9), width=2),
        pencil.arrow_head(x, y - 8, towards="down", size=6),
        drawings.dot(x, y, 5, fill="none", stroke=drawings.INK),
        _after(x + 6, half - 6, y, stands),
    )


def _bench(start: float, end: float, y: float) -> SafeString:
    return pencil.stroke(start, y, end, y, width=2.5)


def _after(x: float, length: float, y: float, stands: bool) -> SafeString:
    if stands:
        return pencil.straight(x + 8, y, x + length, y, width=2.5, dashes="3 6")
    return _bench(x, x + length, y)


def tag(x: float, wire: float, top: float, lines: list[str]) -> SafeString:
    half = max(width_of(line) for line in lines) / 2 + 4
    bottom = top + LINE * len(lines) + 2
    shape = [
        (x - half + 5, top),
        (x + half - 5, top),
        (x + half, top + 5),
        (x + half, bottom),
        (x - half, bottom),
        (x - half, top + 5),
    ]
    written = [
        drawings.text(x, top + LINE * (place + 1) - 3, words, size=SIZE, anchor="middle")
        for place, words in enumerate(lines)
    ]
    return drawings.group(pencil.straight(x, wire, x, top, width=1), pencil.outline(shape, width=1.2), *written)


def rounded(corners: list[tuple[float, float]], radius: float = 7) -> SafeString:
    way = move(*corners[0])
    for before, corner, after in zip(corners, corners[1:], corners[2:], strict=False):
        way += to(*_towards(corner, before, radius)) + bend(*corner, *_towards(corner, after, radius))
    return drawings.path(way + to(*corners[-1]), width=1.3)


def _towards(start: tuple[float, float], end: tuple[float, float], distance: float) -> tuple[float, float]:
    across, along = end[0] - start[0], end[1] - start[1]
    length = abs(across) + abs(along)
    part = min(distance, length / 2) / length if length else 0
    return start[0] + across * part, start[1] + along * part
