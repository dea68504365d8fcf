"""Inverse distribution functions: chances in, amounts out.

Each takes chances ``at`` [0 < u < 1, any order] and gives, for each, the amount that is not exceeded with that chance.
They rest on tables of the distribution function, integrated cell by cell (three Gauss points each) on a scale on which
the density is smooth, and read backwards by straight lines. A spread of nothing gives the mean, exactly.
"""

from functools import lru_cache
from math import asinh, log1p, sinh, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CELLS = 1024
#: Three Gauss points of a cell from −1 to 1, and their weights.
_POINTS = np.array([-sqrt(3 / 5), 0.0, sqrt(3 / 5)])
_WEIGHTS = np.array([5 / 9, 8 / 9, 5 / 9])
#: The gamma's table leaves out what is less likely than e to the minus this.
_DEPTH = 34.0


def normal(at: Array) -> Array:
    """Quantiles of the standard normal distribution."""
    return np.fromiter(map(NormalDist().inv_cdf, at.tolist()), dtype=np.float64, count=len(at))


def lognormal(normals: Array, spread: float) -> Array:
    """Quantiles of the lognormal distribution of mean 1 and CV ``spread``, from those of the `normal`.

    With σ² = ln(1 + CV²) the mean of exp(σ z − σ²/2) is 1.
    """
    if spread == 0:
        return np.ones_like(normals)
    variance = log1p(spread * spread)
    return np.exp(sqrt(variance) * normals - variance / 2)


def gamma(at: Array, mean: float, variance: float) -> Array:
    """Quantiles of the gamma distribution of that ``mean`` and ``variance``; nothing has a mean of nothing.

    With shape k = mean² / variance and w = ln(x / mean) the density is proportional to exp(k (w + 1 − e^w)) dw.
    """
    if mean <= 0 or variance <= 0:
        return np.full_like(at, max(mean, 0.0))
    shape = mean * mean / variance
    edges = _gamma_edges(shape)
    half = np.diff(edges)[:, None] / 2
    middle = (edges[:-1] + edges[1:])[:, None] / 2
    w = middle + half * _POINTS
    mass = (np.exp(shape * (w - np.expm1(w))) * half) @ _WEIGHTS
    below = np.concatenate(([0.0], np.cumsum(mass)))
    below /= below[-1]
    # On a logarithmic scale the long lower tail of a small shape is a straight line.
    below[0] = below[1] * 1e-6
    return mean * np.exp(np.interp(np.log(at), np.log(below), edges))


def gamma_beyond(at: Array, mean: float, variance: float, third: float) -> Array:
    """Quantiles of a fixed amount and a `gamma` variable beyond it, with that mean, variance and ``third`` cumulant.

    Never negative: the gamma alone where its own third cumulant, 2 variance² / mean, is no less.
    """
    beyond = 2 * variance * variance / third if third > 0 and variance > 0 else mean
    beyond = min(beyond, mean)
    return mean - beyond + gamma(at, beyond, variance)


def lognormal_beyond(normals: Array, mean: float, variance: float, third: float) -> Array:
    """The same with a `lognormal` variable beyond the fixed amount.

    Its skewness (CV² + 3) CV is solved for CV = 2 sinh(asinh(skewness / 2) / 3).
    """
    if mean <= 0 or variance <= 0:
        return np.full_like(normals, max(mean, 0.0))
    beyond = mean
    if third > 0:
        beyond = min(sqrt(variance) / (2 * sinh(asinh(third / variance**1.5 / 2) / 3)), mean)
    return mean - beyond + beyond * lognormal(normals, sqrt(variance) / beyond)


def _gamma_edges(shape: float) -> Array:
    """Where the table's cells begin and end: so far out that nothing that is ever asked for lies beyond."""
    depth = _DEPTH / shape
    low = -sqrt(3 * depth) if 3 * depth <= 1 else -(depth + 1)
    high = min(sqrt(2 * depth), 1 + log1p(depth))
    if low > -4:
        return np.linspace(low, high, CELLS + 1)
    # Below −4 the density is all but exp(k w): wide cells do.
    far = -4 - np.geomspace(1, -low - 3, CELLS // 2 + 1)[::-1] + 1
    return np.concatenate((far[:-1], np.linspace(-4, high, CELLS + 1)))


def pert(at: Array, low: float, likely: float, high: float) -> Array:
    """Quantiles of the PERT-beta distribution of the three points; low = high gives that.

    α = 1 + 4 (likely − low) / (high − low), β = 6 − α. With x = sin²(θ/2) the density is proportional to
    sin(θ/2)^(2α−1) cos(θ/2)^(2β−1) dθ. A larger ``likely`` never gives a smaller amount: the cells' masses keep the
    order of likelihood ratios.
    """
    if high <= low:
        return np.full_like(at, low)
    below = _pert_below((likely - low) / (high - low))
    amounts: Array = low + (high - low) * np.interp(at, below, _SHARES)
    return amounts


_ANGLES = np.linspace(0, np.pi, CELLS + 1)
_SHARES = np.sin(_ANGLES / 2) ** 2
_INSIDE = (_ANGLES[:-1] + _ANGLES[1:])[:, None] / 2 + np.pi / CELLS / 2 * _POINTS
_LOG_SIN, _LOG_COS = np.log(np.sin(_INSIDE / 2)), np.log(np.cos(_INSIDE / 2))


@lru_cache(maxsize=256)
def _pert_below(mode: float) -> Array:
    """The distribution function at `_SHARES` for the ``mode`` [fraction of the way from low to high]."""
    powers = (1 + 8 * mode) * _LOG_SIN + (1 + 8 * (1 - mode)) * _LOG_COS
    below = np.concatenate(([0.0], np.cumsum(np.exp(powers) @ _WEIGHTS)))
    below /= below[-1]
    below.flags.writeable = False
    return below
