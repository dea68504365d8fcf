"""Third cumulants of what a route costs: how far its dear side reaches beyond its cheap one.

For a sum S = Σ_t x(X_t) over the visits of a chain that starts in state 0, with n = N_0·, M = N − I and D_x = diag(x),

    E[S]  = n x          E[S²] = n x² + 2 n D_x M x
    E[S³] = n x³ + 3 (n D_{x²} M x + n D_x M x²) + 6 n D_x M D_x M x

by counting in which order one, two or three visits come. A step's speed X_j is one factor of mean 1 for all its visits;
with K_j its labour at speed 1 and L = Σ K,

    κ₃(Σ X_j K_j) = κ₃(L) + 3 Σ v_j² Cov(L, K_j²) + Σ κ₃(X_j) E[K_j³]

X_j is taken as lognormal. Redo visits of a step that is always reached are geometric. Derived here; the tests hold all of
it against exact fractions and against walks.
"""

from typing import Protocol

import numpy as np

from quotes.engine.chance.quantiles import Array


class Chain(Protocol):
    """What is known of how often routes of one shape are visited, stacked."""

    @property
    def start(self) -> Array:
        """Expected visits."""

    @property
    def between(self) -> Array:
        """Expected visits of the second after the first."""

    @property
    def mean(self) -> Array:
        """Expected redo visits and ways taken."""

    @property
    def covariance(self) -> Array:
        """Their covariance."""


def speed_third(spread: Array) -> Array:
    """Third cumulant of a lognormal factor of mean 1 and CV ``spread``."""
    square = spread * spread
    return square * square * (3 + square)


def step_cubes(first: Array, again: Array, redone: Array) -> Array:
    """E[K³] of K = first + again · R, with R geometric of mean ``redone``."""
    second, third = redone + 2 * redone**2, redone + 6 * redone**2 + 6 * redone**3
    return first**3 + 3 * first**2 * again * redone + 3 * first * again**2 * second + again**3 * third


def group_thirds(chain: Chain, first: Array, labour: Array, other: Array, spread: Array) -> Array:
    """Third cumulants of labour and of other cost, and what their sum has beyond both, for parts of one shape.

    Without the speeds' own third cumulants, which need no chain. ``first`` and ``spread`` are by part and step; what
    is ``labour`` and ``other`` again, by part and step or way.
    """
    of_labour, of_other = _third(chain, labour), _third(chain, other)
    of_both = _third(chain, labour + other)
    with_labour = 3 * _with_speeds(chain, labour, first, labour, spread)
    with_other = 3 * _with_speeds(chain, other, first, labour, spread)
    return np.stack((of_labour + with_labour, of_other, of_both - of_labour - of_other + with_other))


def _third(chain: Chain, x: Array) -> Array:
    """κ₃ of Σ x over all visits."""
    n, after = chain.start, _after(chain, x)
    once = np.sum(n * x, axis=1)
    twice = np.sum(n * x * (x + 2 * after), axis=1)
    thrice = np.sum(n * x * (x * x + 3 * x * after + 3 * _after(chain, x * x) + 6 * _after(chain, x * after)), axis=1)
    third: Array = thrice - 3 * once * twice + 2 * once**3
    return third


def _after(chain: Chain, x: Array) -> Array:
    """M x: what is expected to come after a visit of each."""
    after: Array = np.einsum("pij,pj->pi", chain.between, x)
    return after


def _with_speeds(chain: Chain, x: Array, first: Array, again: Array, spread: Array) -> Array:
    """Σ_j v_j² Cov(Σ x, K_j²), with K_j = first + again · R_j over the steps."""
    width = first.shape[1]
    own = again[:, :width]
    with_visit = np.einsum("pij,pi->pj", chain.covariance, x)[:, :width]
    with_square = _with_squares(chain, x)[:, :width] - 2 * with_visit  # R² = V² − 2V + 1
    result: Array = np.sum(spread**2 * (2 * first * own * with_visit + own**2 * with_square), axis=1)
    return result


def _with_squares(chain: Chain, x: Array) -> Array:
    """Cov(Σ x, V_j²) for every state j."""
    n, m = chain.start, chain.between
    again = np.diagonal(m, axis1=1, axis2=2)
    before = np.einsum("pi,pij->pj", n * x, m)
    after = _after(chain, x)
    among = np.einsum("pji,pi,pij->pj", m, x, m)
    product = (
        2 * (before * again + n * among + n * again * after)  # three visits, one of them elsewhere
        + before
        + n * after
        + 4 * x * n * again
        + x * n
    )
    covariance: Array = product - np.sum(n * x, axis=1)[:, None] * n * (1 + 2 * again)
    return covariance
