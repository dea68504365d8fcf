"""What is added above expected cost so that fixed prices hold as often as the shop wants.

The cost of the fixed lines is taken to be

    Z·A + B·W + Σ damage and wrong finishes

A is labour with its overhead and B all other cost, redo visits and remedies included. Both have the exact mean, variance
and third cumulant of all routes together (`quotes.engine.chance.route_moments`): a fixed amount and, beyond it, for A a
lognormal variable, since its long side comes from speeds, and for B a gamma variable, since its comes from counts. What
both have in common (they rise when work is done again) is added to the variance of B: 2 Cov(A, B). Z is the pace of the
whole bike, lognormal of mean 1. W is what prices do: each service, bought-in part and consumable has one lognormal
factor of mean 1 for all it charges, since a guess is wrong for every lot together. An event happens with its chance or
not at all, and then costs what its three points say (PERT-beta). See docs/decisions/contingency-from-few-variables.md.

The contingency is the cost that is not exceeded with the chance wanted, less the mean, at least nothing. Lines share it
by the covariance of each with the total, in closed form.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext

import numpy as np

from quotes.engine import comebacks
from quotes.engine.chance import checks, draws
from quotes.engine.chance.assessment import DIGITS, WORDS, Assessment, Cause, at_most, money, not_exceeded
from quotes.engine.chance.fixed_lines import FixedLines, Priced, Thing, fixed_lines
from quotes.engine.chance.quantiles import Array, gamma_beyond, lognormal, lognormal_beyond, pert
from quotes.engine.chance.route_moments import Moments, moments, summed
from quotes.engine.inputs import ZERO, Policy, Restoration
from quotes.engine.money import CONTEXT, places, rounded, shared_out
from quotes.engine.results import Branch, StepResult

#: So many prices are drawn one by one, those that matter most; all others together as one.
SINGLY = 24
POINTS = 41
#: Weights of the shares keep so many digits: what is left of sums of floats must not decide between equals.
_FINE = 10**12


@dataclass(frozen=True, slots=True)
class _Event:
    """A branch on a fixed line, with its variance [money²]."""

    branch: Branch
    line: int
    cause: str
    variance: float


@dataclass(frozen=True, slots=True)
class _Variables:
    """All that is drawn, and what is known of it without drawing."""

    pace: float
    moments: Moments
    priced: Priced
    things: Sequence[Thing]
    charges: Array
    spreads: Array
    events: Sequence[_Event]

    @property
    def price_variance(self) -> float:
        """Variance of the factor that prices are on other cost."""
        other = float(self.moments.other.sum())
        return float(np.sum((self.spreads * self.charges / other) ** 2)) if other else 0.0


def assess(restoration: Restoration, steps: Sequence[StepResult], branches: Sequence[Branch]) -> Assessment:
    """The contingency of the fixed lines of ``restoration``, whose ``steps`` and ``branches`` cost what is given.

    Money is in major units of the currency; the contingency and its shares are rounded half-up to the minor unit. The
    same input gives the same figures; the order of parts, steps and branches changes none. Raises `BadInput` for
    chances, spreads and three-point costs that are none.
    """
    with localcontext(CONTEXT):
        checks.policy(restoration.policy)
        checks.operations(restoration)
        lines = fixed_lines(restoration, steps)
        events = _events(restoration, lines, branches)
        known = _variables(restoration, lines, events)
        mean = lines.mean + sum((_expected(event.branch) for event in events), ZERO)
        return _with_comebacks(_assessed(restoration.policy, lines, known, mean), restoration.policy)


def _with_comebacks(found: Assessment, policy: Policy) -> Assessment:
    """What is kept for comebacks is in every one of such bikes' costs, the same: it moves them all and adds no spread."""
    amount = comebacks.kept(found.mean, policy.comebacks)
    if not amount:
        return found
    totals = np.round(found.totals + float(amount), DIGITS)
    return replace(
        found,
        mean=found.mean + amount,
        quantile=found.quantile + amount,
        curve=_curve(totals, places(policy.currency)),
        totals=totals,
    )


def _events(restoration: Restoration, lines: FixedLines, branches: Sequence[Branch]) -> list[_Event]:
    names = {part.uid: part.name for part in restoration.parts}
    at = {part.uid: index for index, part in enumerate(lines.parts)}
    damages = {damage.uid for part in restoration.parts for damage in part.damages}
    found = []
    for branch in sorted(branches, key=lambda item: (item.part, item.uid)):
        checks.branch(branch, names)
        if branch.part in at and branch.chance and branch.high:
            certain = branch.low == branch.high
            cause = "finish" if certain and branch.uid not in damages else "damage"
            found.append(_Event(branch, at[branch.part], cause, _variance_of(branch)))
    return found


def _expected(branch: Branch) -> Decimal:
    """chance × (low + 4 likely + high) / 6, exactly [money]."""
    return branch.chance * (branch.low + 4 * branch.likely + branch.high) / 6


def _variance_of(branch: Branch) -> float:
    """Variance of a Bernoulli times a PERT-beta, whose own variance is (µ − low)(high − µ) / 7 [money²]."""
    chance, low, likely, high = map(float, branch[3:])
    mean = (low + 4 * likely + high) / 6
    variance = (mean - low) * (high - mean) / 7
    return chance * (variance + (1 - chance) * mean * mean)


def _variables(restoration: Restoration, lines: FixedLines, events: Sequence[_Event]) -> _Variables:
    costs = lines.costs()
    found = moments(costs)
    priced = lines.priced(costs, found)
    spreads = np.array(checks.statuses(restoration, lines.things), dtype=np.float64)
    charges = summed(priced.charge, priced.thing, len(lines.things))
    pace = float(restoration.policy.pace_spread)
    return _Variables(pace, found, priced, list(lines.things), charges, spreads, events)


def _assessed(policy: Policy, lines: FixedLines, known: _Variables, mean: Decimal) -> Assessment:
    digits = places(policy.currency)
    by_line, by_cause = _covariances(known, len(lines.parts))
    variance = float(by_line.sum())
    totals = _totals(known) if variance else np.full(draws.TRIALS, float(mean))
    totals = np.sort(np.round(totals, DIGITS))
    quantile = not_exceeded(totals, policy.kept)
    contingency = rounded(max(quantile - mean, ZERO) if variance else ZERO, digits=digits)
    uids = [part.uid for part in lines.parts]
    return Assessment(
        mean=mean,
        quantile=quantile if variance else mean,
        contingency=contingency,
        kept=policy.kept,
        deviation=money(variance**0.5),
        shares=tuple(zip(uids, shared_out(contingency, _weights(by_line), uids, digits=digits), strict=True)),
        curve=_curve(totals, digits),
        causes=_causes(by_cause),
        totals=totals,
    )


def _covariances(known: _Variables, count: int) -> tuple[Array, dict[str, float]]:
    """The covariance of each line with the total, which add up to the variance, and that variance by cause [money²]."""
    found, pace = known.moments, known.pace**2
    with_pace = pace * found.labour * found.labour.sum()
    work = (1 + pace) * found.labour_variance + (1 + known.price_variance) * found.other_variance + 2 * found.covariance
    each = known.spreads**2 * known.charges
    prices = summed(known.priced.charge * each[known.priced.thing], known.priced.line, count)
    lines = with_pace + np.maximum(work, 0) + prices
    causes = {"pace": float(with_pace.sum()), "work": float(np.maximum(work, 0).sum()), "prices": float(prices.sum())}
    for event in known.events:
        lines[event.line] += event.variance
        causes[event.cause] = causes.get(event.cause, 0.0) + event.variance
    return lines, causes


def _totals(known: _Variables) -> Array:
    """What the fixed lines cost in each trial [money]."""
    found = known.moments
    labour = lognormal_beyond(draws.normals(), *_sums(found.labour, found.labour_variance, found.labour_third))
    # Prices are on other cost alone, not on what it has in common with labour.
    alone = 1 / (1 + known.price_variance)
    variance = found.other_variance + 2 * alone * found.covariance
    third = found.other_third + alone * found.third_shared
    other = gamma_beyond(draws.strata(), *_sums(found.other, variance, third))
    pace = lognormal(draws.normals(), known.pace)
    totals = pace[draws.order("pace")] * labour[draws.order("labour")] + other[draws.order("other")] * _prices(known)
    for event in known.events:
        _happens(event.branch, totals)
    return totals


def _sums(*by_part: Array) -> tuple[float, ...]:
    return tuple(float(values.sum()) for values in by_part)


def _prices(known: _Variables) -> Array:
    """The factor on other cost in each trial: each price weighs by what it charges."""
    factor = np.ones(draws.TRIALS)
    whole = float(known.moments.other.sum())
    amounts = known.spreads * known.charges
    ranked = sorted(np.flatnonzero(amounts > 0).tolist(), key=lambda index: (-amounts[index], known.things[index]))
    for index in ranked[:SINGLY]:
        drawn = lognormal(draws.normals(), float(known.spreads[index]))
        kind, key = known.things[index]
        factor += known.charges[index] / whole * (drawn[draws.order(f"{kind}:{key}")] - 1)
    rest = ranked[SINGLY:]
    if rest:
        charged = float(known.charges[rest].sum())
        drawn = lognormal(draws.normals(), float(np.sqrt(np.sum(amounts[rest] ** 2))) / charged)
        factor += charged / whole * (drawn[draws.order("other prices")] - 1)
    return factor


def _happens(branch: Branch, totals: Array) -> None:
    """Add what an event costs to the trials in which it happens, the dearest first."""
    chance = float(branch.chance)
    count = int(np.ceil(chance * draws.TRIALS - 0.5))
    at: Array = 1 - (np.arange(count, dtype=np.float64) + 0.5) / (chance * draws.TRIALS)
    low, likely, high = map(float, branch[4:])
    totals[draws.order(f"event:{branch.uid}", count)] += pert(at, low, likely, high)


def _weights(by_line: Array) -> list[Decimal]:
    whole = float(by_line.sum())
    if not whole:
        return [ZERO] * len(by_line)
    return [Decimal(int(weight)) for weight in np.round(by_line / whole * _FINE)]


def _causes(variances: dict[str, float]) -> tuple[Cause, ...]:
    """Shares of the variance in percent steps, the largest first."""
    keys = [key for key, value in variances.items() if value > 0]
    if not keys:
        return ()
    weights = _weights(np.array([variances[key] for key in keys]))
    shares = shared_out(Decimal("1.00"), weights, keys, digits=2)
    found = [Cause(key, WORDS[key], share) for key, share in zip(keys, shares, strict=True) if share]
    return tuple(sorted(found, key=lambda cause: (-cause.share, cause.key)))


def _curve(totals: Array, digits: int) -> tuple[tuple[Decimal, Decimal], ...]:
    """`POINTS` costs from all but the least to all but the most, with the chance that it costs at most that."""
    low, high = float(totals[len(totals) // 200]), float(totals[-1 - len(totals) // 200])
    costs = [rounded(money(cost), digits=digits) for cost in np.linspace(low, high, POINTS).tolist()]
    return tuple((cost, at_most(totals, cost)) for cost in sorted(set(costs)))
