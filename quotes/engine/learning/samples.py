"""How many observations a time needs: the sample size of work measurement.

    n = (z s / (a x̄))²

with the mean x̄ and deviation s of what was observed, an accuracy a [fraction of the mean] and z for how sure one wants to
be. With the readings' own deviation (over n, not n − 1), z = 2 and a = 5 % this is (40 √(n Σx² − (Σx)²) / Σx)², as work
study has it.

Source: International Labour Office, *Introduction to Work Study*, ch. 21 (value from memory); the worked examples the tests
name.
"""

from collections.abc import Sequence
from math import ceil, sqrt
from statistics import NormalDist


def certainty(level: float) -> float:
    """z for a two-sided ``level`` [fraction].

    >>> round(certainty(0.95), 3)
    1.96
    """
    if not 0 < level < 1:
        raise ValueError(f"a level of {level} is no probability")
    return NormalDist().inv_cdf((1 + level) / 2)


def needed(*, mean: float, deviation: float, accuracy: float, z: float) -> float:
    """Observations, not rounded, for an ``accuracy`` [fraction of the mean].

    >>> needed(mean=0.83, deviation=0.034, accuracy=0.01, z=2) # doctest: +ELLIPSIS
    67.12...
    """
    if mean <= 0 or accuracy <= 0 or deviation < 0:
        raise ValueError("a mean and an accuracy are above nothing, a deviation is not below it")
    return (z * deviation / (accuracy * mean)) ** 2


def needed_for(readings: Sequence[float], *, accuracy: float, z: float, few: bool = False) -> int:
    """Whole observations for what was read so far; ``few`` takes the deviation over n − 1.

    >>> needed_for([7, 6, 7, 7, 6], accuracy=0.05, z=2)
    9
    """
    count = len(readings)
    if count < 2:
        raise ValueError("two readings at least are needed")
    mean = sum(readings) / count
    squares = sum((reading - mean) ** 2 for reading in readings)
    deviation = sqrt(squares / (count - 1 if few else count))
    return ceil(needed(mean=mean, deviation=deviation, accuracy=accuracy, z=z) - 1e-12)
