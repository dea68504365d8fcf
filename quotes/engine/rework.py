"""What doing it again costs, exactly.

A route is a row of stages. A visit of stage *j* costs ``first`` the first time and ``redo`` every other time. With
chance p it fails and sends the part back to stage b ≤ j through remedies that cost ρ; several such ways may stand side
by side (a redo, a scrapped part). Everything from b to j is then done again, and may fail again. With d the expected
cost of getting past a stage that is done again,

    d_j = (redo_j + Σ_w p_w (ρ_w + Σ_{i=b_w}^{j−1} d_i)) / (1 − Σ_w p_w)
    E   = Σ_j [first_j + Σ_w p_w (ρ_w + Σ_{i=b_w}^{j} d_i)]

which one pass with running sums gives in O(n). It is the absorbing Markov chain (I − Q)⁻¹ of the route, without the
matrix. Everything here works on `Decimal` and on `Fraction` alike; nothing is rounded.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Generic, NamedTuple, TypeVar

from quotes.engine.errors import BadInput
from quotes.engine.formulas import variant

N = TypeVar("N", Decimal, Fraction)


class Way(NamedTuple, Generic[N]):
    """With ``chance`` a visit sends the part back to stage ``to`` (an index) through remedies that cost ``remedy``."""

    chance: N
    to: int
    remedy: N


class Stage(NamedTuple, Generic[N]):
    """A stage of a route: what a visit costs the first time and again, its ways back, the spread (CV) of its cost."""

    first: N
    redo: N
    ways: tuple[Way[N], ...]
    spread: N


class Visits(NamedTuple, Generic[N]):
    """How often a stage is expected to be done again, and how often each of its ways back is taken."""

    redone: N
    taken: tuple[N, ...]


def check(chance: Decimal, back_to: int, at: int) -> None:
    """Raise `BadInput` unless a way back with ``chance`` from stage ``at`` to ``back_to`` makes sense."""
    if chance < 0:
        raise BadInput("The chance of failing is {chance}. Give 0 or more.", field="chance", chance=chance)
    if chance >= 1:
        raise BadInput(
            "The chance of failing is {chance}: this step would never be done. Give less than 1.",
            field="chance",
            chance=chance,
        )
    if back_to > at:
        raise BadInput(
            "A failed step sends the part back to a later step. Choose this step or an earlier one.", field="back to"
        )


def check_total(chances: Sequence[Decimal]) -> None:
    """Raise `BadInput` unless the ways back of one step leave a chance of success."""
    together = sum(chances, Decimal(0))
    if together >= 1:
        raise BadInput(
            "The chances of failing add up to {sum}: this step would never be done. Make them less than 1 together.",
            field="chance",
            sum=together,
        )


@variant("rework_1", "expected redo visits × cost of doing it again + expected failures × remedies")
def visits(stages: Sequence[Stage[N]]) -> list[Visits[N]]:
    """Expected redo visits and failures of every stage, in O(n), by the recursion's transpose.

    Σ redone × redo + Σ taken × remedy is the rework allowance, for each cost class with the same visits.

    >>> one = Stage(Decimal(10), Decimal(10), (Way(Decimal("0.2"), 0, Decimal(0)),), Decimal(0))
    >>> visits([one])[0].redone
    Decimal('0.25')
    """
    count = len(stages)
    if not any(stage.ways for stage in stages):
        nothing = _zero(stages)
        return [Visits(nothing, ())] * count
    zero = _zero(stages)
    ends = [zero] * (count + 1)  # what stops being carried below this index
    carried, closes = zero, count
    result: list[Visits[N]] = []
    for j in range(count - 1, -1, -1):
        # Below the last open way back exactly nothing is carried; subtracting alone would leave a last digit.
        carried = carried - ends[j + 1] if j >= closes else zero
        stage = stages[j]
        if not stage.ways:
            result.append(Visits(carried, ()))
            continue
        fail = sum((way.chance for way in stage.ways), zero)
        weight = carried + fail  # how often d_j is entered: from later failures, and from its own first ones
        redone = weight / (1 - fail)
        result.append(Visits(redone, tuple(way.chance * (1 + redone) for way in stage.ways)))
        for way in stage.ways:
            entered = way.chance + way.chance * redone
            if way.to < j:
                carried += entered
                ends[way.to] += entered
                closes = min(closes, way.to)
    result.reverse()
    return result


def expected_cost(stages: Sequence[Stage[N]]) -> N:
    """Expected cost of the whole route, redo included [money], by the forward recursion in the head of this module."""
    return _moments(stages)[0]


def variance_of_visits(stages: Sequence[Stage[N]]) -> N:
    """Variance of the cost when every visit has a spread of its own [money²].

    A stage p = .2, cost 10, CV .4 alone: mean 12.5, variance 51.25 (geometric sum).
    """
    return _moments(stages)[1]


def variance_shared(stages: Sequence[Stage[N]]) -> N:
    """Variance of the cost when all visits of a step share one speed error [money²]; O(n²).

    Var = Var(ΣK) + Σ CV_j² E[K_j²], with K_j what the visits of stage j cost at speed 1. The same stage as above: 61.25.
    """
    zero = _zero(stages)
    still = [Stage(s.first, s.redo, s.ways, zero) for s in stages]
    variance = _moments(still)[1]
    for j, stage in enumerate(stages):
        if stage.spread:
            mean, spread = _moments(_only(stages, j))
            variance += stage.spread * stage.spread * (spread + mean * mean)
    return variance


def _only(stages: Sequence[Stage[N]], j: int) -> list[Stage[N]]:
    """The same route where only the visits of stage ``j`` cost anything."""
    zero = _zero(stages)
    free = [tuple(Way(way.chance, way.to, zero) for way in stage.ways) for stage in stages]
    return [Stage(s.first if i == j else zero, s.redo if i == j else zero, free[i], zero) for i, s in enumerate(stages)]


def _moments(stages: Sequence[Stage[N]]) -> tuple[N, N]:
    """Mean and variance of the route's cost, visits independent."""
    zero = _zero(stages)
    means, variances = [zero], [zero]  # running sums of d and of its variance
    mean = variance = zero
    for j, stage in enumerate(stages):
        fail = sum((way.chance for way in stage.ways), zero)
        back = [(way, way.remedy + means[j] - means[way.to], variances[j] - variances[way.to]) for way in stage.ways]
        sent = sum((way.chance * cost for way, cost, _ in back), zero)
        again = (stage.redo + sent) / (1 - fail)
        first = stage.first + sent + fail * again
        # Law of total variance over which way back is taken, if any.
        between = sum((way.chance * (cost + again) ** 2 for way, cost, _ in back), zero) - (sent + fail * again) ** 2
        within = sum((way.chance * spread for way, _, spread in back), zero)
        own = (stage.spread * stage.redo) ** 2
        again_variance = (own + between + within) / (1 - fail)
        mean += first
        variance += (stage.spread * stage.first) ** 2 + between + within + fail * again_variance
        means.append(means[-1] + again)
        variances.append(variances[-1] + again_variance)
    return mean, variance


def _zero(stages: Sequence[Stage[N]]) -> N:
    """Nought in the kind of number the route is written in."""
    return stages[0].first * 0 if stages else Decimal(0)  # type: ignore[return-value]
