"""Finished bikes most like one that is only described: a ballpark at the first phone call.

How far apart two bikes are is the mean of how far apart they are in each thing said of both (J. C. Gower, Biometrics 27
(1971), 857-871, from memory): words are 0 where they are the same and 1 where not, numbers differ by their difference over
the range of all that are known. What nobody said does not count. Things weigh alike but for ``weights``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

Said = Mapping[str, str | int]


@dataclass(frozen=True, slots=True)
class Finished:
    """A finished bike: what is ``said`` of it, and what it really cost [minor units] and took [min]."""

    key: str
    said: Said
    cost: int
    minutes: int


@dataclass(frozen=True, slots=True)
class Near:
    """A finished bike at its distance, 0 alike to 1 quite different, and on how many things that rests."""

    bike: Finished
    distance: float
    things: int


@dataclass(frozen=True, slots=True)
class Ballpark:
    """What the nearest cost: the least, the middle one and the most [minor units]; the bikes, the nearest first."""

    low: int
    middle: int
    high: int
    bikes: tuple[Near, ...]


def distance(one: Said, other: Said, ranges: Mapping[str, int], weights: Mapping[str, int]) -> tuple[float, int]:
    """How far apart, and on how many things that rests; 1 on none.

    >>> distance({"maker": "Orrin", "year": 1956}, {"maker": "Orrin", "year": 1961}, {"year": 20}, {})
    (0.125, 2)
    """
    both = [thing for thing in one if thing in other]
    whole = sum(weights.get(thing, 1) for thing in both)
    if not whole:
        return 1.0, 0
    apart = sum(weights.get(thing, 1) * _apart(one[thing], other[thing], ranges.get(thing, 0)) for thing in both)
    return apart / whole, len(both)


def _apart(one: str | int, other: str | int, whole: int) -> float:
    if isinstance(one, str) or isinstance(other, str):
        return float(str(one).casefold() != str(other).casefold())
    return min(abs(one - other) / whole, 1.0) if whole else float(one != other)


def nearest(
    asked: Said, bikes: Sequence[Finished], *, count: int = 5, weights: Mapping[str, int] | None = None
) -> Ballpark | None:
    """The ``count`` bikes nearest to what is ``asked``, ties by key; None where there is none with a thing in common."""
    ranges = _ranges([asked, *(bike.said for bike in bikes)])
    found = [Near(bike, *distance(asked, bike.said, ranges, weights or {})) for bike in bikes]
    near = sorted((one for one in found if one.things), key=lambda one: (one.distance, one.bike.key))[:count]
    if not near:
        return None
    costs = sorted(one.bike.cost for one in near)
    half = len(costs) // 2
    middle = costs[half] if len(costs) % 2 else (costs[half - 1] + costs[half]) // 2
    return Ballpark(costs[0], middle, costs[-1], tuple(near))


def _ranges(said: Sequence[Said]) -> dict[str, int]:
    numbers: dict[str, list[int]] = {}
    for each in said:
        for thing, value in each.items():
            if isinstance(value, int):
                numbers.setdefault(thing, []).append(value)
    return {thing: max(values) - min(values) for thing, values in numbers.items()}
