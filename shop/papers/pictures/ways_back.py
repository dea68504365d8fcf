"""Which ways back of a route run how deep under its rows, so that none lies on another."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from shop.papers.pictures.chances import Chance

EDGE = 4
LANE = 4
LANES = 3


@dataclass(frozen=True, kw_only=True)
class WayBack:
    """From the stop ``start``, with a chance per visit, back to the stop ``to``; stops count from 0."""

    start: int
    to: int
    chance: Chance


class Stretch(NamedTuple):
    """What a way back takes of one row, in columns; −1 is the left edge."""

    way: WayBack
    row: int
    left: float
    right: float


class Levels:
    def __init__(self, depths: dict[tuple[WayBack, int], int], lanes: dict[WayBack, int]) -> None:
        self._depths = depths
        self._lanes = lanes

    def of(self, way: WayBack, row: int) -> int:
        """0 is the uppermost."""
        return self._depths[way, row]

    def depth(self, row: int) -> int:
        """How many levels a row needs."""
        return max((depth + 1 for (_way, at), depth in self._depths.items() if at == row), default=0)

    def lane(self, way: WayBack) -> float:
        """Where the way goes up along the left edge."""
        return EDGE + LANE * (self._lanes[way] % LANES)


def legs(ways: Sequence[WayBack], in_row: int) -> Levels:
    """Short stretches come first, close under the line; every other one lies deeper than all it would touch."""
    stretches = [stretch for way in ways for stretch in _stretches(way, in_row)]
    depths: dict[tuple[WayBack, int], int] = {}
    placed: list[Stretch] = []
    for stretch in sorted(stretches, key=lambda one: (one.row, one.right - one.left, one.left)):
        touched = [depths[one.way, one.row] for one in placed if _touch(one, stretch)]
        depths[stretch.way, stretch.row] = max(touched, default=-1) + 1
        placed.append(stretch)
    around = [way for way in ways if way.start // in_row != way.to // in_row]
    return Levels(depths, {way: lane for lane, way in enumerate(around)})


def _stretches(way: WayBack, in_row: int) -> list[Stretch]:
    start, end = way.start // in_row, way.to // in_row
    if start == end:
        return [Stretch(way, start, way.to % in_row, way.start % in_row)]
    return [Stretch(way, start, -1, way.start % in_row), Stretch(way, end, -1, way.to % in_row)]


def _touch(one: Stretch, other: Stretch) -> bool:
    return one.row == other.row and one.left <= other.right + 0.3 and other.left <= one.right + 0.3
