"""Moments of routes against exact fractions: the recursion of `quotes.engine.rework`, and the chain solved by elimination."""

from collections.abc import Sequence
from fractions import Fraction
from random import Random
from typing import Any

import numpy as np
import pytest
from scipy import stats

from quotes.engine import rework
from quotes.engine.chance.route_moments import Costs, Moments, Pattern, counts, moments
from quotes.engine.rework import Stage, Way
from tests.engine import chain

F = Fraction
Route = list[Stage[Fraction]]


def pattern(route: Sequence[Stage[Fraction]]) -> Pattern:
    return tuple(tuple((float(way.chance), way.to) for way in stage.ways) for stage in route)


def array(values: Any) -> Any:
    return np.array([float(value) for value in values], dtype=np.float64)


def costs(labour: Sequence[Route], other: Sequence[Route]) -> Costs:
    """Routes that are the same but for what they cost: ``labour`` with its spread, ``other`` without."""
    steps, others = [s for route in labour for s in route], [s for route in other for s in route]
    return Costs(
        [pattern(route) for route in labour],
        array(stage.first for stage in steps),
        array(stage.first for stage in others),
        array(stage.redo for stage in steps),
        array(stage.redo for stage in others),
        array(stage.spread for stage in steps),
        array(way.remedy for stage in steps for way in stage.ways),
        array(way.remedy for stage in others for way in stage.ways),
    )


def recosted(route: Route, by: Random, spread: bool = True) -> Route:
    """The same ways, other costs."""
    return [
        Stage(
            F(by.randint(0, 90)),
            F(by.randint(0, 90)),
            tuple(Way(way.chance, way.to, F(by.randint(0, 60))) for way in stage.ways),
            F(by.randint(0, 8), 10) if spread else F(0),
        )
        for stage in route
    ]


def added(one: Route, other: Route) -> Route:
    return [
        Stage(
            a.first + b.first,
            a.redo + b.redo,
            tuple(Way(v.chance, v.to, v.remedy + w.remedy) for v, w in zip(a.ways, b.ways, strict=True)),
            F(0),
        )
        for a, b in zip(one, other, strict=True)
    ]


def still(route: Route) -> Route:
    return [Stage(s.first, s.redo, s.ways, F(0)) for s in route]


BY = Random("routes with two kinds of cost")
ROUTES = [chain.route(BY) for _ in range(150)]
LABOUR, OTHER = [recosted(route, BY) for route in ROUTES], [recosted(route, BY, spread=False) for route in ROUTES]
FOUND = moments(costs(LABOUR, OTHER))


def close(found: Any, expected: Sequence[Fraction]) -> bool:
    return np.allclose(found, array(expected), rtol=1e-9, atol=1e-7)


def test_expected_counts_are_those_of_the_recursion() -> None:
    visits = [rework.visits(route) for route in ROUTES]
    assert close(FOUND.redone, [item.redone for route in visits for item in route])
    assert close(FOUND.taken, [taken for route in visits for item in route for taken in item.taken])


def test_means_and_variances_are_those_of_the_recursion_with_shared_speeds() -> None:
    assert close(FOUND.labour, [rework.expected_cost(route) for route in LABOUR])
    assert close(FOUND.other, [rework.expected_cost(route) for route in OTHER])
    assert close(FOUND.labour_variance, [rework.variance_shared(route) for route in LABOUR])
    assert close(FOUND.other_variance, [rework.variance_of_visits(route) for route in OTHER])


def test_the_covariance_is_half_of_what_a_sum_varies_more_than_its_parts() -> None:
    def shared(one: Route, other: Route) -> Fraction:
        together = rework.variance_of_visits(added(one, other))
        return (together - rework.variance_of_visits(still(one)) - rework.variance_of_visits(other)) / 2

    assert close(FOUND.covariance, [shared(one, other) for one, other in zip(LABOUR, OTHER, strict=True)])
    assert FOUND.covariance.max() > 0


class Powers:
    """E[S], E[S²], E[S³] of a route's cost by elimination: from each state, S = cost here + S from the next state."""

    def __init__(self, route: Route) -> None:
        self.states = chain.states(len(route))
        self.at = {state: number for number, state in enumerate(self.states)}
        self.route = route
        self.moves = [chain.moves(route, state) for state in self.states]
        self.rows = []
        for number in range(len(self.states)):
            row = {number: F(1)}
            for move in self.moves[number]:
                if move.to is not None:
                    row[self.at[move.to]] = row.get(self.at[move.to], F(0)) - move.chance
            self.rows.append(row)

    def third_cumulant(self) -> Fraction:
        size = len(self.states)
        powers = [[F(1)] * size]
        for degree in (1, 2, 3):
            right = [self.known(number, powers, degree) for number in range(size)]
            powers.append(chain.solved(self.rows, right))
        e1, e2, e3 = (power[self.at[0, 0, True]] for power in powers[1:])
        return e3 - 3 * e1 * e2 + 2 * e1**3

    def known(self, number: int, powers: list[list[Fraction]], degree: int) -> Fraction:
        """What of E[Sᵈ] hangs on lower powers: Σ chance × Σ_k binomial(d, k) costᵈ⁻ᵏ E[nextᵏ], k < d."""
        binomials = {1: (1,), 2: (1, 2), 3: (1, 3, 3)}[degree]
        _, at, first = self.states[number]
        here = self.route[at].first if first else self.route[at].redo
        total = F(0)
        for move in self.moves[number]:
            cost = here + move.remedy
            for k, many in enumerate(binomials):
                after = F(k == 0) if move.to is None else powers[k][self.at[move.to]]
                total += move.chance * many * cost ** (degree - k) * after
        return total


def test_third_cumulants_without_speeds_are_the_chains() -> None:
    found = moments(costs([still(route) for route in LABOUR[:40]], OTHER[:40]))
    labour = [Powers(still(route)).third_cumulant() for route in LABOUR[:40]]
    other = [Powers(route).third_cumulant() for route in OTHER[:40]]
    both = [Powers(added(one, two)).third_cumulant() for one, two in zip(LABOUR, OTHER, strict=False)][:40]
    assert close(found.labour_third, labour)
    assert close(found.other_third, other)
    assert close(found.third_shared, [b - x - y for b, x, y in zip(both, labour, other, strict=True)])


def test_a_geometric_number_of_visits_has_its_known_moments() -> None:
    """Geometric: mean p/q, variance p/q², third cumulant p(1 + p)/q³ (every handbook; value from memory), p = .2."""
    found = moments(
        costs(
            [[Stage(F(0), F(1), (Way(F(1, 5), 0, F(0)),), F(0))]], [[Stage(F(0), F(0), (Way(F(1, 5), 0, F(0)),), F(0))]]
        )
    )
    assert (found.labour[0], found.labour_variance[0], found.labour_third[0]) == pytest.approx(
        (0.25, 0.2 / 0.64, 0.24 / 0.512)
    )


def test_one_step_with_shared_speed_is_61_25() -> None:
    """DESIGN: p = .2, c = 10, CV .4 has mean 12.5 and, with one speed for all its visits, variance 61.25."""
    one = [Stage(F(10), F(10), (Way(F(1, 5), 0, F(0)),), F(2, 5))]
    found = moments(costs([one], [still(one)]))
    assert (found.labour[0], found.labour_variance[0]) == pytest.approx((12.5, 61.25))
    assert (found.other[0], found.other_variance[0]) == pytest.approx((12.5, 31.25))


def test_third_cumulants_with_speeds_are_those_of_walks() -> None:
    """Two steps, a way back over both with a remedy; half a million walks in a plain loop over visits."""
    route = [
        Stage(F(10), F(14), (), F(3, 10)),
        Stage(F(20), F(30), (Way(F(1, 4), 0, F(5)), Way(F(1, 10), 1, F(2))), F(1, 2)),
    ]
    other = [Stage(F(3), F(6), (), F(0)), Stage(F(8), F(9), (Way(F(1, 4), 0, F(7)), Way(F(1, 10), 1, F(0))), F(0))]
    found = moments(costs([route], [other]))
    labour, material = walked(route, other, 500_000)
    for mine, sampled in (
        (found.labour_third[0], labour),
        (found.labour_third[0] + found.other_third[0] + found.third_shared[0], labour + material),
    ):
        third = ((sampled - sampled.mean()) ** 3).mean()
        blocks = [((b - sampled.mean()) ** 3).mean() for b in np.array_split(sampled, 100)]
        assert abs(mine - third) < 4 * np.std(blocks) / 10
    assert float(np.cov(labour, material)[0, 1]) == pytest.approx(found.covariance[0], rel=0.02)


def walked(route: Route, other: Route, trials: int) -> tuple[Any, Any]:
    rng = np.random.default_rng(11)
    redone = np.zeros((2, trials))
    taken = np.zeros((2, trials))
    active = np.arange(trials)
    first, second = (float(way.chance) for way in route[1].ways)
    while len(active):
        drawn = rng.random(len(active))
        over, alone = active[drawn < first], active[(drawn >= first) & (drawn < first + second)]
        taken[0, over] += 1
        taken[1, alone] += 1
        redone[0, over] += 1
        active = np.concatenate((over, alone))
        redone[1, active] += 1
    labour, material = np.zeros(trials), np.zeros(trials)
    for number in (0, 1):
        sigma = np.sqrt(np.log1p(float(route[number].spread) ** 2))
        speed = np.exp(sigma * rng.standard_normal(trials) - sigma**2 / 2)
        labour += speed * (float(route[number].first) + float(route[number].redo) * redone[number])
        material += float(other[number].first) + float(other[number].redo) * redone[number]
        labour += float(route[1].ways[number].remedy) * taken[number]
        material += float(other[1].ways[number].remedy) * taken[number]
    return labour, material


@pytest.mark.parametrize("spread", [0.1, 0.35, 0.8])
def test_the_third_cumulant_of_a_speed_is_scipys(spread: float) -> None:
    """And E[X³] of one step that is never done again: κ₃ of X times its labour."""
    speed = stats.lognorm(np.sqrt(np.log1p(spread**2)), scale=1 / np.sqrt(1 + spread**2))
    expected = float(speed.stats("s")) * speed.std() ** 3
    plain = [Stage(F(10), F(0), (), F(spread))]
    assert moments(costs([plain], [still(plain)])).labour_third[0] == pytest.approx(1_000 * expected)


def test_a_route_without_ways_back_varies_by_speed_alone() -> None:
    plain = [Stage(F(10), F(0), (), F(1, 2)), Stage(F(20), F(0), (), F(1, 4))]
    found = moments(costs([plain], [still(plain)]))
    assert (found.labour_variance[0], found.other_variance[0], found.covariance[0]) == (50, 0, 0)
    assert not found.redone.any()


def test_parts_are_worked_out_each_for_itself() -> None:
    """Beside others, and in another order, a part has the moments it has alone; to the last digits of floats."""
    turned = moments(costs(LABOUR[::-1], OTHER[::-1]))
    one = moments(costs(LABOUR[7:8], OTHER[7:8]))
    for name in Moments.__slots__:
        if name not in ("redone", "taken"):
            assert np.allclose(getattr(turned, name)[::-1], getattr(FOUND, name), rtol=1e-12)
            assert np.allclose(getattr(one, name)[0], getattr(FOUND, name)[7], rtol=1e-12)


def test_covariances_of_counts_are_symmetric_and_no_count_varies_less_than_nothing() -> None:
    for route in ROUTES:
        if any(stage.ways for stage in route):
            found = counts(pattern(route)).covariance
            assert np.allclose(found, found.T)
            assert np.linalg.eigvalsh(found).min() > -1e-9 * max(1, np.abs(found).max())
