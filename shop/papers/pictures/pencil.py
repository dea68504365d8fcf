"""Strokes as a hand makes them. What carries a figure is drawn straight; only what frames it may waver, and the same
stroke always wavers alike."""

import math
import zlib

from django.utils.safestring import SafeString

from shop.papers import drawings
from shop.papers.drawings import bend, move, to

FAINT = 0.4
FAINTER = 0.25
WAVER = 1.2


def stroke(
    x1: float, y1: float, x2: float, y2: float, *, width: float = 1.5, dashes: str = "none", faint: float = 1
) -> SafeString:
    """From one point to the other, a breath out of true in between."""
    length = math.hypot(x2 - x1, y2 - y1)
    off = _waver(x1, y1, x2, y2) * min(WAVER, length / 120)
    middle_x, middle_y = (x1 + x2) / 2, (y1 + y2) / 2
    if length:
        middle_x, middle_y = middle_x - (y2 - y1) / length * off, middle_y + (x2 - x1) / length * off
    return drawings.path(move(x1, y1) + bend(middle_x, middle_y, x2, y2), width=width, dashes=dashes, faint=faint)


def straight(
    x1: float, y1: float, x2: float, y2: float, *, width: float = 1.5, dashes: str = "none", faint: float = 1
) -> SafeString:
    return drawings.path(move(x1, y1) + to(x2, y2), width=width, dashes=dashes, faint=faint)


def outline(
    points: list[tuple[float, float]], *, fill: str = "none", width: float = 1.5, ink: str = drawings.INK
) -> SafeString:
    """A closed shape through the points."""
    first, *rest = points
    return drawings.path(move(*first) + "".join(to(*point) for point in rest) + "Z", fill=fill, width=width, stroke=ink)


def arrow_head(x: float, y: float, *, towards: str, size: float = 5) -> SafeString:
    """Two short strokes that meet at ``x``, ``y``; ``towards`` is up, down, right or left."""
    across, along = {"up": (1, 1), "down": (1, -1), "right": (-1, 0), "left": (1, 0)}[towards]
    wing = size * 0.7
    if along:
        way = move(x - wing * across, y + size * along) + to(x, y) + to(x + wing * across, y + size * along)
    else:
        way = move(x + size * across, y - wing) + to(x, y) + to(x + size * across, y + wing)
    return drawings.path(way)


def _waver(*numbers: float) -> float:
    """From −1 to 1, by where the stroke is."""
    seed = ",".join(f"{number:.1f}" for number in numbers)
    return zlib.crc32(seed.encode()) / 2**31 - 1
