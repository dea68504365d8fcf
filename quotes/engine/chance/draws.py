"""Random numbers that belong to things: stratified, and put in an order that only the thing's own uid decides.

Every uncertain thing is drawn `TRIALS` times, once from each of as many strata of equal chance. Which trial gets which
stratum follows from its permanent uid alone: adding, removing or moving one thing leaves the draws of all others as
they are, and two things that are alike are still drawn apart.
"""

from functools import cache
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from quotes.engine.chance.quantiles import Array, normal

TRIALS = 20_000

#: So many draws find so many different trials, all but surely: each longer row of draws begins with the shorter ones.
_FOUND = {TRIALS // 16: TRIALS // 18, TRIALS // 4: TRIALS // 5, TRIALS * 3 // 4: TRIALS // 2, TRIALS: TRIALS}


@cache
def strata() -> Array:
    """The middle of every stratum of chance, rising."""
    return _kept((np.arange(TRIALS) + 0.5) / TRIALS)


@cache
def normals() -> Array:
    """The standard normal quantile of every stratum, rising."""
    return _kept(normal(strata()))


def _kept(values: Array) -> Array:
    values.flags.writeable = False
    return values


def order(uid: str, count: int = TRIALS) -> NDArray[np.int64]:
    """The first ``count`` trials in the order that belongs to ``uid``; a larger count only adds to them.

    Trials are drawn at random and each counts the first time it comes up: for a rare event only few have to be drawn.
    """
    if count <= 0:
        return np.empty(0, dtype=np.int64)
    for size in (size for size, enough in _FOUND.items() if count <= enough):
        source = _generator(uid)
        drawn = source.integers(0, TRIALS, size=size)
        turn = np.full(TRIALS, -1)
        turn[drawn[::-1]] = np.arange(size - 1, -1, -1)
        found: NDArray[np.int64] = drawn[turn[drawn] == np.arange(size)]
        if len(found) >= count:
            return found[:count]
    rest = source.permutation(np.flatnonzero(turn < 0))
    return np.concatenate((found, rest))[:count]


def _generator(uid: str) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(int.from_bytes(sha256(uid.encode()).digest())))
