"""Crossed random effects by restricted maximum likelihood: which part of a difference is whose.

    y = A θ + Z u + e        θ = (μ, small effects), u one effect of each bike, e the error

Small effects come in blocks, each with a variance of its own: what operations take, how fast people are. A row has at
most one bike, so Z'Z is diagonal and bikes leave the equations by a Schur complement: what is solved is as large as the
small effects are many, however many bikes there were. Everything is worked out from sums of products, once.

For given variances the effects are Henderson's best linear unbiased predictions, shrunk to the mean the less is known of
them; for given effects the variances are those of the EM algorithm for REML, in steps three at a time (SQUAREM).

Sources: C. R. Henderson, Biometrics 31 (1975), 423-447; D. A. Harville, Journal of the American Statistical Association 72
(1977), 320-338; R. Varadhan and C. Roland, Scandinavian Journal of Statistics 35 (2008), 335-353. From memory; tested
against statsmodels and against the likelihood written out with scipy.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

#: Rows that are made dense at once.
_ROWS = 4096
_MOST_STEPS = 400
_TOLERANCE = 1e-8
#: After so many steps each time it is tried whether a variance is nothing.
_LOOK = 5
#: A variance that is nothing against the error: the logarithm must have something to go to.
_LEAST = 1e-9
#: The logarithm of the largest variance tried: beyond it the mean and the effects could not be told apart in floats.
_MOST_LOG = 4.0


@dataclass(frozen=True, slots=True)
class Design:
    """Which small effect counts how much in which row, and the ``bike`` of each row (−1: none).

    ``rows``, ``columns`` and ``shares`` are one entry each, in the order of rows; ``blocks`` are the sizes of the blocks of
    small effects, whose columns follow each other.
    """

    rows: Indices
    columns: Indices
    shares: Array
    blocks: tuple[int, ...]
    bike: Indices
    bikes: int


@dataclass(frozen=True, slots=True)
class Sums:
    """All that is needed of the rows: A'A, A'Z, the diagonal of Z'Z, A'y, Z'y, y'y and their count."""

    square: Array
    between: Array
    diagonal: Array
    small: Array
    large: Array
    total: float
    count: int
    blocks: tuple[int, ...]

    @property
    def slices(self) -> list[slice]:
        """Where each block of small effects stands; the mean stands before them."""
        ends = np.cumsum((1, *self.blocks))
        return [slice(begin, end) for begin, end in pairwise(ends.tolist())]


@dataclass(frozen=True, slots=True)
class Variances:
    """By block of small effects, of bikes, and of the error; on the scale of y squared."""

    blocks: tuple[float, ...]
    bike: float
    error: float


@dataclass(frozen=True, slots=True)
class Fit:
    """``effects`` are μ and the small effects, ``covariance`` that of what is predicted less what is true; ``bikes`` likewise."""

    variances: Variances
    effects: Array
    covariance: Array
    bikes: Array
    deviance: float
    steps: int

    def value(self, weights: Array) -> tuple[float, float]:
        """A weighted sum of effects, and its posterior variance."""
        return float(weights @ self.effects), float(weights @ self.covariance @ weights)


def sums(y: Array, design: Design) -> Sums:
    """The products of ``y`` and ``design``."""
    wide = 1 + sum(design.blocks)
    square, small = np.zeros((wide, wide)), np.zeros(wide)
    begins = np.searchsorted(design.rows, np.arange(0, len(y) + _ROWS, _ROWS))
    for index, first in enumerate(range(0, len(y), _ROWS)):
        last = min(first + _ROWS, len(y))
        part = slice(begins[index], begins[index + 1])
        dense = np.zeros((last - first, wide))
        dense[:, 0] = 1
        np.add.at(dense, (design.rows[part] - first, design.columns[part] + 1), design.shares[part])
        square += dense.T @ dense
        small += dense.T @ y[first:last]
    has = design.bike >= 0
    own = design.bike[design.rows]
    of_bike = own >= 0
    place = (design.columns[of_bike] + 1) * design.bikes + own[of_bike]
    flat = np.bincount(place, weights=design.shares[of_bike], minlength=wide * design.bikes)
    between: Array = flat.astype(np.float64).reshape(wide, design.bikes)
    counts: Array = np.bincount(design.bike[has], minlength=design.bikes).astype(np.float64)
    between[0] = counts
    large: Array = np.bincount(design.bike[has], weights=y[has], minlength=design.bikes).astype(np.float64)
    return Sums(square, between, counts, small, large, float(y @ y), len(y), design.blocks)


def fitted(y: Array, design: Design, fit: Fit) -> Array:
    """What ``fit`` says of each row."""
    found = np.full(len(y), fit.effects[0])
    found += np.bincount(design.rows, weights=design.shares * fit.effects[design.columns + 1], minlength=len(y))
    has = design.bike >= 0
    found[has] += fit.bikes[design.bike[has]]
    return found


def solved(known: Sums, variances: Variances, steps: int = 0) -> Fit:
    """The effects for given ``variances``, with their covariance and the deviance, −2 log of the restricted likelihood."""
    error = variances.error
    ridge = np.zeros(len(known.small))
    for part, variance in zip(known.slices, variances.blocks, strict=True):
        ridge[part] = error / variance
    inner = known.diagonal + error / variances.bike
    scaled = known.between / inner
    matrix = known.square + np.diag(ridge) - scaled @ known.between.T
    right = known.small - scaled @ known.large
    inverse: Array = np.linalg.inv(matrix).astype(np.float64)
    effects: Array = inverse @ right
    bikes = (known.large - known.between.T @ effects) / inner
    rest = known.total - float(effects @ known.small) - float(bikes @ known.large)
    deviance = (known.count - 1) * np.log(error) + rest / error
    deviance += float(np.linalg.slogdet(matrix)[1]) + float(np.log(inner).sum())
    for size, variance in zip((*known.blocks, len(inner)), (*variances.blocks, variances.bike), strict=True):
        deviance += size * np.log(variance / error)
    return Fit(variances, effects, inverse * error, bikes, float(deviance), steps)


def _improved(known: Sums, fit: Fit) -> Variances:
    """One step of the EM algorithm."""
    error = fit.variances.error
    blocks = []
    for part in known.slices:
        own = fit.effects[part]
        spread = float(np.trace(fit.covariance[part, part]))
        blocks.append(max((float(own @ own) + spread) / max(len(own), 1), _LEAST * error))
    inner = known.diagonal + error / fit.variances.bike
    leaning = np.einsum("ij,ij->j", known.between, fit.covariance @ known.between)
    spread = float((error / inner).sum() + (leaning / inner**2).sum())
    bike = (float(fit.bikes @ fit.bikes) + spread) / max(len(inner), 1)
    rest = known.total - float(fit.effects @ known.small) - float(fit.bikes @ known.large)
    # What rows cannot differ by, such as one row alone, still is no certainty.
    return Variances(tuple(blocks), max(bike, _LEAST * error), max(rest / max(known.count - 1, 1), 1e-12))


def reml(known: Sums, begin: Variances | None = None) -> Fit:
    """Variances and effects by restricted maximum likelihood. Raises `ValueError` without at least two rows."""
    if known.count < 2:
        raise ValueError("two rows at least are needed to tell what differs")
    mean = known.total / known.count - (float(known.small[0]) / known.count) ** 2
    share = max(mean, 1e-6) / (len(known.blocks) + 2)
    fit = solved(known, begin or Variances((share,) * len(known.blocks), share, share))
    for step in range(1, _MOST_STEPS + 1):
        fit, before = _three(known, fit, step), fit
        if not step % _LOOK:
            fit = _without(known, fit)
        if abs(before.deviance - fit.deviance) < _TOLERANCE * (1 + abs(fit.deviance)):
            break
    return fit


def _without(known: Sums, fit: Fit) -> Fit:
    """Where nothing is as likely as what a variance was brought down to, nothing: EM never gets there."""
    for index in range(len(fit.variances.blocks) + 1):
        logs = _logs(fit.variances)
        logs[index] = logs[-1] + log(_LEAST)
        less = solved(known, _from_logs(logs, known.blocks), fit.steps)
        if less.deviance <= fit.deviance:
            fit = less
    return fit


def _three(known: Sums, fit: Fit, step: int) -> Fit:
    """Two steps of EM, and as far on in their direction as the likelihood rises."""
    first = solved(known, _improved(known, fit), step)
    second = solved(known, _improved(known, first), step)
    zero, one, two = (_logs(each.variances) for each in (fit, first, second))
    change, turn = one - zero, two - 2 * one + zero
    bend = float(np.linalg.norm(turn))
    if bend < 1e-12:
        return second
    length = -max(float(np.linalg.norm(change)) / bend, 1.0)
    while length < -1.01:
        further = solved(known, _from_logs(zero - 2 * length * change + length**2 * turn, known.blocks), step)
        if np.isfinite(further.deviance) and further.deviance <= second.deviance:
            return further
        length = (length - 1) / 2
    return second


def _logs(variances: Variances) -> Array:
    return np.array([log(each) for each in (*variances.blocks, variances.bike, variances.error)])


def _from_logs(logs: Sequence[float] | Array, blocks: tuple[int, ...]) -> Variances:
    values = np.exp(np.clip(logs, -40, _MOST_LOG)).tolist()
    error = values[-1]
    return Variances(
        tuple(max(value, _LEAST * error) for value in values[: len(blocks)]), max(values[-2], _LEAST * error), error
    )
