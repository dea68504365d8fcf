"""How often the steps of a route are done again and its ways back are taken, and what that does to cost: exact moments.

A route with ways back is an absorbing Markov chain. Its states are the steps, and each way back as a state of its own
between the step that fails and the one it leads to, so that what is paid on the way is counted as well. With
N = (I − Q)⁻¹ and a start in state 0, visits have

    E[V_i] = N_0i        E[V_i V_j] = N_0i N_ij + N_0j N_ji − [i = j] N_0i

(Kemeny and Snell, *Finite Markov Chains*, ch. III; value from memory, held by exact fractions in the tests.) Redo
visits are visits less the first one. Then for what a visit costs when it is done again, and a way when it is taken,

    Var(ΣK) = aᵀ Σ a        Cov(labour, other) = aᵀ Σ b        Var(labour) = aᵀ Σ a + Σ_j v_j² E[K_j²]

with a the labour and b the other cost of each, Σ the covariance of the counts, v_j the spread of the speed that all
visits of step j share, and K_j their labour at speed 1. Third cumulants, which say how far the dear side reaches, are in
`quotes.engine.chance.third_moments`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quotes.engine.chance.quantiles import Array
from quotes.engine.chance.third_moments import group_thirds, speed_third, step_cubes

#: For each step of a route its ways back: the chance of each and the index of the step it leads to.
Pattern = tuple[tuple[tuple[float, int], ...], ...]
Rows = NDArray[np.int64]


class Counts(NamedTuple):
    """The counts of a route's steps, followed by its ways back, step by step; routes of one shape may be stacked.

    ``start`` is how often each is expected to be visited, ``between`` N − I: how often the second after the first;
    ``mean`` and ``covariance`` are those of redo visits and of ways taken.
    """

    start: Array
    between: Array
    mean: Array
    covariance: Array


@dataclass(frozen=True, slots=True)
class Costs:
    """What the routes of many parts cost, one entry for each step and each way back, part after part [money].

    ``patterns`` has an entry for each part. A visit of a step costs ``first`` and then ``again``; a way ``remedy``.
    ``spread`` is the CV of the step's speed.
    """

    patterns: Sequence[Pattern]
    first_labour: Array
    first_other: Array
    again_labour: Array
    again_other: Array
    spread: Array
    remedy_labour: Array
    remedy_other: Array


@dataclass(frozen=True, slots=True)
class Moments:
    """By step ``redone`` and by way ``taken``, expected; by part mean, variance, third cumulant of both costs.

    ``covariance`` and ``third_shared`` are what both have in common: the variance of their sum is that of each and
    twice the covariance, its third cumulant that of each and ``third_shared``.
    """

    redone: Array
    taken: Array
    labour: Array
    other: Array
    labour_variance: Array
    other_variance: Array
    covariance: Array
    labour_third: Array
    other_third: Array
    third_shared: Array


def counts(pattern: Pattern) -> Counts:
    """The moments of one route's counts."""
    return _counts([pattern])[pattern]


def _counts(patterns: Sequence[Pattern]) -> dict[Pattern, Counts]:
    """Each different pattern once; those with as many steps and ways are worked out together."""
    alike: dict[tuple[int, int], list[Pattern]] = {}
    for pattern in dict.fromkeys(patterns):
        alike.setdefault(_shape(pattern), []).append(pattern)
    found: dict[Pattern, Counts] = {}
    for (steps, ways), group in alike.items():
        size = steps + ways
        chains = np.stack([_chain(pattern, size) for pattern in group])
        visits = np.linalg.inv(np.eye(size) - chains)
        start = visits[:, 0, :]
        product = start[:, :, None] * visits
        second = product + product.transpose(0, 2, 1)
        each = np.arange(size)
        second[:, each, each] -= start
        covariance = second - start[:, :, None] * start[:, None, :]
        columns = (start, visits - np.eye(size), start - (each < steps), covariance)
        found.update(zip(group, map(Counts, *columns), strict=True))
    return found


def _shape(pattern: Pattern) -> tuple[int, int]:
    return len(pattern), sum(map(len, pattern))


def _chain(pattern: Pattern, size: int) -> Array:
    """Chances from state to state: steps first, then ways back. What is missing in a row is the end of the route."""
    chain = np.zeros((size, size))
    way = len(pattern)
    for step, ways in enumerate(pattern):
        if step + 1 < len(pattern):
            chain[step, step + 1] = 1 - sum(chance for chance, _ in ways)
        for chance, to in ways:
            chain[step, way] = chance
            chain[way, to] = 1
            way += 1
    return chain


def moments(costs: Costs) -> Moments:
    """The moments of labour and other cost of every part."""
    shapes = [_shape(pattern) for pattern in costs.patterns]
    count = len(shapes)
    part = np.repeat(np.arange(count), [steps for steps, _ in shapes])
    way_part = np.repeat(np.arange(count), [ways for _, ways in shapes])
    redone, taken = np.zeros(len(part)), np.zeros(len(way_part))
    variances, thirds = np.zeros((3, count)), np.zeros((3, count))
    for group in _groups(costs.patterns, shapes):
        found, steps, ways, width = group.counts, group.steps, group.ways, group.steps.shape[1]
        redone[steps], taken[ways] = found.mean[:, :width], found.mean[:, width:]
        a = np.concatenate((costs.again_labour[steps], costs.remedy_labour[ways]), axis=1)
        b = np.concatenate((costs.again_other[steps], costs.remedy_other[ways]), axis=1)
        for index, (one, other) in enumerate(((a, a), (b, b), (a, b))):
            variances[index, group.parts] = np.einsum("pi,pij,pj->p", one, found.covariance, other)
        thirds[:, group.parts] = group_thirds(found, costs.first_labour[steps], a, b, costs.spread[steps])
    cubes = step_cubes(costs.first_labour, costs.again_labour, redone)
    labour = costs.first_labour + redone * costs.again_labour
    other = costs.first_other + redone * costs.again_other
    square = labour**2 + (redone + redone**2) * costs.again_labour**2
    return Moments(
        redone,
        taken,
        summed(labour, part, count) + summed(taken * costs.remedy_labour, way_part, count),
        summed(other, part, count) + summed(taken * costs.remedy_other, way_part, count),
        np.maximum(variances[0], 0) + summed(costs.spread**2 * square, part, count),
        np.maximum(variances[1], 0),
        variances[2],
        thirds[0] + summed(speed_third(costs.spread) * cubes, part, count),
        *thirds[1:],
    )


def summed(values: Array, by: Rows, count: int) -> Array:
    """The sum of ``values`` for each of ``count`` things; ``by`` says which is whose."""
    return np.bincount(by, values, count).astype(np.float64)


class _Group(NamedTuple):
    """Parts whose routes have as many steps and ways: where they, their steps and their ways stand."""

    parts: Rows
    steps: Rows
    ways: Rows
    counts: Counts


def _groups(patterns: Sequence[Pattern], shapes: Sequence[tuple[int, int]]) -> list[_Group]:
    """Parts without ways back are in none: nothing on them is done again."""
    found = _counts([pattern for pattern, (_, ways) in zip(patterns, shapes, strict=True) if ways])
    starts = np.cumsum([(0, 0), *shapes], axis=0)
    members: dict[tuple[int, int], list[int]] = {}
    for index, shape in enumerate(shapes):
        if shape[1]:
            members.setdefault(shape, []).append(index)
    return [
        _Group(
            np.array(parts),
            starts[parts, 0][:, None] + np.arange(steps),
            starts[parts, 1][:, None] + np.arange(ways),
            Counts(*map(np.stack, zip(*(found[patterns[index]] for index in parts), strict=True))),
        )
        for (steps, ways), parts in members.items()
    ]
