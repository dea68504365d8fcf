"""How the hours of a job go against its budget, believed as far as there are hours to believe.

Performance = hours spent on what is done / hours budgeted for it, above 1 for slower. Early on it says little: a bike is
slower or faster as a whole by a factor Z around 1 (spread τ between bikes), and each step strays by itself (spread c). With
done hours s_1 … s_n out of S = Σ s the mean of the observed ratio is Z and its own variance c² Σ s² / S². The best linear
guess of Z pulls the observed ratio towards 1 with the weight

    w = τ² / (τ² + c² Σ s² / S²) = S / (S + k)        k = c² / τ² × m        m = Σ s² / Σ s, the size of a step [h]

so k is how many hours must be done before what is seen counts as much as what was expected. It is the credibility weight of
H. Bühlmann (Experience rating and credibility, 1967; from memory), with k worked out from the rate book's own spreads.

| steps of 2 h, c .35, τ .15            | k = 10.9 h |         |             |
| done, budgeted                        |        2 h |    11 h |        60 h |
| spent                                 |        4 h |    22 h |       120 h |
| performance seen                      |       2.00 |    2.00 |        2.00 |
| weight                                |       .155 |    .503 |        .846 |
| performance believed                  |       1.16 |    1.50 |        1.85 |
"""

from collections.abc import Iterable
from decimal import Decimal, localcontext
from typing import NamedTuple

from quotes.engine.errors import BadInput
from quotes.engine.inputs import ONE
from quotes.engine.margin.exact import HOUR, added, ratio
from quotes.engine.money import CONTEXT
from quotes.engine.results import NONE


class Performance(NamedTuple):
    """``spent`` on what is done, ``budgeted`` for it [min]; ``seen`` spent / budgeted; the ``weight`` it has; what is ``believed``.

    ``half`` [h] is how many hours must be done for a weight of a half (k in the head of this module).
    """

    spent: Decimal
    budgeted: Decimal
    half: Decimal
    seen: Decimal | None
    weight: Decimal
    believed: Decimal


def half_weight(minutes: Iterable[Decimal], *, step_spread: Decimal, bike_spread: Decimal) -> Decimal:
    """Hours that must be done before what is seen counts as much as what was expected [h].

    ``minutes`` [min] are what the steps of the job were budgeted; spreads are CVs. Raises `BadInput` without a spread
    between bikes: then nothing is ever learned from one.

    >>> half_weight([Decimal(120)] * 5, step_spread=Decimal("0.35"), bike_spread=Decimal("0.15")).quantize(Decimal("0.01"))
    Decimal('10.89')
    """
    if bike_spread <= 0:
        raise BadInput("The spread between bikes must be more than 0.", field="pace spread")
    sizes = [size for size in minutes if size]
    with localcontext(CONTEXT):
        size = ratio(sum((one * one for one in sizes), NONE), sum(sizes, NONE)) or NONE
        return step_spread**2 / bike_spread**2 * size / HOUR


def shrunk(seen: Decimal, *, done: Decimal, half: Decimal, expected: Decimal = ONE) -> Decimal:
    """``seen`` pulled towards what was ``expected``, with the weight done / (done + half).

    ``done`` and ``half`` are in the same unit. Nothing done gives what was expected.

    >>> shrunk(Decimal(2), done=Decimal(30), half=Decimal(10))
    Decimal('1.75')
    """
    weight = ratio(done, done + half) or NONE
    return CONTEXT.add(expected, CONTEXT.multiply(weight, CONTEXT.subtract(seen, expected)))


def performance(done: Iterable[tuple[Decimal, Decimal]], *, half: Decimal) -> Performance:
    """The performance of a job out of the steps that are done: minutes spent and minutes budgeted for each [min].

    ``half`` is in hours, see `half_weight`.

    >>> performance([(Decimal(240), Decimal(120))], half=Decimal(2)).believed
    Decimal('1.5')
    >>> performance([], half=Decimal(2)).believed
    Decimal('1')
    """
    pairs = list(done)
    spent, budgeted = added(pair[0] for pair in pairs), added(pair[1] for pair in pairs)
    seen = ratio(spent, budgeted)
    hours = CONTEXT.divide(budgeted, HOUR)
    weight = ratio(hours, hours + half) or NONE
    believed = ONE if seen is None else shrunk(seen, done=hours, half=half)
    return Performance(spent, budgeted, half, seen, weight, believed)
