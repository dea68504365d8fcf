"""Chances from few trials: many alike things tell each other how far from common they may be (beta-binomial).

Of ``count`` trials ``hits`` came about; each thing has a chance of its own, and those chances are beta with a and b. What
one learns of a thing is Beta(a + hits, b + count − hits): near its own share where it was tried often, near that of all where
it was not. The mean of that is what a price takes, its quantiles are the interval.

Sources: A. Gelman and others, *Bayesian Data Analysis*, ch. 5, the rat tumours (Table 5.1); T. P. Minka, *Estimating a
Dirichlet distribution* (2000), the fixed point of the likelihood; NIST, *Digital Library of Mathematical Functions* 8.17.22,
the continued fraction of the incomplete beta function. From memory; tested against published figures and scipy.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, lgamma, log, log1p

Trials = Sequence[tuple[int, int]]

#: So many trials' worth is what things may tell each other at most: then they are all alike.
MOST = 2_000.0
_STEPS = 20_000
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Beta:
    """A chance that is not known exactly."""

    a: float
    b: float

    @property
    def mean(self) -> float:
        """What to expect [fraction]."""
        return self.a / (self.a + self.b)

    @property
    def variance(self) -> float:
        """How unsure that is [fraction²]."""
        whole = self.a + self.b
        return self.a * self.b / (whole * whole * (whole + 1))

    def after(self, hits: int, count: int) -> "Beta":
        """What is known once ``hits`` of ``count`` came about. Raises `ValueError` for counts that cannot be."""
        if not 0 <= hits <= count:
            raise ValueError(f"{hits} of {count} is no share")
        return Beta(self.a + hits, self.b + count - hits)

    def interval(self, level: float = 0.9) -> tuple[float, float]:
        """Between which chances the true one lies at ``level``, as much left out below as above."""
        if not 0 < level < 1:
            raise ValueError(f"a level of {level} is no probability")
        return quantile((1 - level) / 2, self.a, self.b), quantile((1 + level) / 2, self.a, self.b)


def by_moments(shares: Sequence[float]) -> Beta:
    """The beta with the mean and variance (over n − 1) of ``shares``. Raises `ValueError` where they do not differ."""
    count = len(shares)
    mean = sum(shares) / count
    variance = sum((share - mean) ** 2 for share in shares) / (count - 1) if count > 1 else 0.0
    if not 0 < variance < mean * (1 - mean):
        raise ValueError("shares that are all alike say nothing of how chances differ")
    whole = mean * (1 - mean) / variance - 1
    return Beta(mean * whole, (1 - mean) * whole)


def likeliest(trials: Trials, begin: Beta | None = None) -> Beta:
    """The beta under which ``trials`` (hits, count) are likeliest; at most `MOST` trials' worth, where they are all alike.

    Without a hit, or with nothing but hits, half a trial of the other kind is added.
    """
    tried = [(hits, count) for hits, count in trials if count]
    hits, count = sum(h for h, _ in tried), sum(n for _, n in tried)
    if not count:
        return begin or Beta(1.0, 1.0)
    mean = min(max(hits, 0.5), count - 0.5) / count if count > 1 else 0.5
    if len(tried) < 2 or hits in (0, count):
        return Beta(mean, 1 - mean)
    a, b = (begin.a, begin.b) if begin else (mean * 10, (1 - mean) * 10)
    for _step in range(_STEPS):
        rise = sum(_steps(a + b, n) for _h, n in tried)
        new_a = a * sum(_steps(a, h) for h, _n in tried) / rise
        new_b = b * sum(_steps(b, n - h) for h, n in tried) / rise
        moved = abs(new_a - a) / a + abs(new_b - b) / b
        a, b = new_a, new_b
        if a + b > MOST:
            return Beta(mean * MOST, (1 - mean) * MOST)
        if moved < 1e-11:
            break
    return Beta(a, b)


def _steps(at: float, count: int) -> float:
    """ψ(at + count) − ψ(at), exactly: Σ 1 / (at + j)."""
    return sum(1 / (at + j) for j in range(count))


def below(x: float, a: float, b: float) -> float:
    """The chance that a beta variable is at most ``x``."""
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x))
    if x < (a + 1) / (a + b + 2):
        return front * _fraction(x, a, b) / a
    return 1 - front * _fraction(1 - x, b, a) / b


def _fraction(x: float, a: float, b: float) -> float:
    """The continued fraction, by Lentz's method."""
    c, d = 1.0, 1 - (a + b) * x / (a + 1)
    d = 1 / (d if abs(d) > _TINY else _TINY)
    found = d
    for m in range(1, 1000):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1 + term * d
            d = 1 / (d if abs(d) > _TINY else _TINY)
            c = 1 + term / c
            c = c if abs(c) > _TINY else _TINY
            found *= d * c
        if abs(d * c - 1) < 1e-15:
            break
    return found


def quantile(chance: float, a: float, b: float) -> float:
    """What a beta variable does not exceed with ``chance``, by halving."""
    low, high = 0.0, 1.0
    for _step in range(80):
        middle = (low + high) / 2
        if below(middle, a, b) < chance:
            low = middle
        else:
            high = middle
    return (low + high) / 2
