import math
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from random import Random

import numpy as np
import pytest
from hypothesis import given

from quotes.engine import rework
from quotes.engine.errors import BadInput
from quotes.engine.rework import Stage, Way
from tests.engine import chain
from tests.engine.strategies import seeds

D, F = Decimal, Fraction
ROUTES = 1_000


def alone(p: Fraction, cost: int, spread: Fraction) -> list[Stage[Fraction]]:
    return [Stage(F(cost), F(cost), (Way(p, 0, F(0)),), spread)]


def redone_by_chain(stages: Sequence[Stage[Fraction]]) -> list[rework.Visits[Fraction]]:
    built = chain.Chain(stages)
    redone = [F(0)] * len(stages)
    for (_, at, first), visits in zip(built.states, built.visits(), strict=True):
        redone[at] += 0 if first else visits
    return [
        rework.Visits(again, tuple(way.chance * (1 + again) for way in stage.ways))
        for stage, again in zip(stages, redone, strict=True)
    ]


def test_the_recursion_is_the_absorbing_chain_exactly() -> None:
    by = Random("a thousand routes")
    several = 0
    for _ in range(ROUTES):
        stages = chain.route(by)
        several += any(len(stage.ways) > 1 for stage in stages)
        redone = redone_by_chain(stages)
        assert rework.visits(stages) == redone
        money = sum((stage.first for stage in stages), F(0))
        for stage, visits in zip(stages, redone, strict=True):
            money += stage.redo * visits.redone
            money += sum(way.remedy * taken for way, taken in zip(stage.ways, visits.taken, strict=True))
        assert rework.expected_cost(stages) == money
    assert several > ROUTES / 4


def test_mean_and_variance_of_independent_visits_are_the_chains_exactly() -> None:
    by = Random("two hundred variances")
    for _ in range(200):
        stages = chain.route(by, most=3)
        assert (rework.expected_cost(stages), rework.variance_of_visits(stages)) == chain.Chain(
            stages
        ).mean_and_variance()


def test_shared_speed_adds_the_second_moment_of_each_steps_own_visits() -> None:
    """Var(Σ(1 + ε)K) = Var(ΣK) + Σ v² E[K²], both from the chain's own moments."""
    by = Random("shared speed")
    for _ in range(100):
        stages = chain.route(by, most=3)
        still = [Stage(s.first, s.redo, s.ways, F(0)) for s in stages]
        _, expected = chain.Chain(still).mean_and_variance()
        for j, stage in enumerate(stages):
            only = [
                Stage(s.first * (i == j), s.redo * (i == j), tuple(Way(w.chance, w.to, F(0)) for w in s.ways), F(0))
                for i, s in enumerate(stages)
            ]
            mean, variance = chain.Chain(only).mean_and_variance()
            expected += stage.spread**2 * (variance + mean**2)
        assert rework.variance_shared(stages) == expected


def test_a_geometric_sum_has_the_textbook_mean_and_both_variances() -> None:
    """Visits are geometric, mean 1/(1 − p), variance p/(1 − p)²; 10 each, CV .4. Closed form, no source needed."""
    stages = alone(F(1, 5), 10, F(2, 5))
    assert rework.expected_cost(stages) == F(25, 2)
    assert rework.variance_of_visits(stages) == F(205, 4)
    assert rework.variance_shared(stages) == F(245, 4)


def simulated(stages: Sequence[Stage[Fraction]], trials: int, seed: int, *, shared: bool) -> np.ndarray:
    """Cost of ``trials`` parts walked through the route one visit at a time."""
    by = np.random.default_rng(seed)
    totals = np.zeros(trials)
    ends = [np.cumsum([float(way.chance) for way in stage.ways]) for stage in stages]
    for trial in range(trials):
        speed = 1 + by.standard_normal(len(stages)) * [float(stage.spread) for stage in stages]
        at, furthest, total = 0, -1, 0.0
        while at < len(stages):
            stage = stages[at]
            factor = speed[at] if shared else 1 + by.standard_normal() * float(stage.spread)
            total += float(stage.first if at > furthest else stage.redo) * factor
            furthest = max(furthest, at)
            way = int(np.searchsorted(ends[at], by.random(), side="right"))
            if way < len(stage.ways):
                total += float(stage.ways[way].remedy)
                at = stage.ways[way].to
            else:
                at += 1
        totals[trial] = total
    return totals


SIMULATED = {
    "one step": alone(F(1, 5), 10, F(2, 5)),
    "blast, coat, oven": [
        Stage(F(30), F(40), (), F(3, 10)),
        Stage(F(50), F(60), (Way(F(1, 10), 0, F(15)),), F(4, 10)),
        Stage(F(10), F(10), (Way(F(1, 20), 1, F(0)), Way(F(1, 20), 0, F(80))), F(1, 10)),
    ],
}


@pytest.mark.parametrize("name", SIMULATED)
@pytest.mark.parametrize("shared", [False, True], ids=["independent", "shared"])
def test_a_seeded_simulation_agrees_within_four_of_its_own_standard_errors(name: str, shared: bool) -> None:
    stages, trials = SIMULATED[name], 20_000
    totals = simulated(stages, trials, seed=20_260_101, shared=shared)
    mean, variance = totals.mean(), totals.var(ddof=1)
    formula = rework.variance_shared if shared else rework.variance_of_visits
    mean_error = math.sqrt(variance / trials)
    fourth = ((totals - mean) ** 4).mean()
    variance_error = math.sqrt((fourth - variance**2) / trials)
    assert abs(mean - float(rework.expected_cost(stages))) < 4 * mean_error
    assert abs(variance - float(formula(stages))) < 4 * variance_error


def test_the_simulation_can_tell_the_two_variances_apart() -> None:
    """Otherwise its agreement would say nothing about which of them holds."""
    totals = simulated(SIMULATED["one step"], 20_000, seed=20_260_101, shared=True)
    fourth = ((totals - totals.mean()) ** 4).mean()
    error = math.sqrt((fourth - totals.var() ** 2) / len(totals))
    assert abs(totals.var() - 51.25) > 4 * error


@given(seeds)
def test_steps_before_every_way_back_are_never_redone_not_even_by_a_last_digit(seed: int) -> None:
    by = Random(seed)
    stages = [Stage(D(1), D(1), (), D(0)) for _ in range(2)]
    for at in range(2, 7):
        ways = tuple(Way(D(by.randint(1, 330)) / 1000, by.randint(2, at), D(1)) for _ in range(by.randint(0, 2)))
        stages.append(Stage(D(1), D(1), ways, D(0)))
    visits = rework.visits(stages)
    assert [v.redone for v in visits[:2]] == [0, 0]
    assert min(v.redone for v in visits) >= 0


def test_a_route_that_cannot_fail_costs_its_first_pass() -> None:
    stages = [Stage(D(3), D(9), (), D(0)), Stage(D(4), D(9), (), D(0))]
    assert rework.expected_cost(stages) == 7
    assert rework.visits(stages) == [rework.Visits(D(0), ())] * 2


def test_a_route_of_no_steps_costs_nothing() -> None:
    assert rework.expected_cost([]) == 0
    assert rework.visits([]) == []


def test_a_chance_of_nothing_changes_nothing() -> None:
    (visits,) = rework.visits([Stage(D(3), D(9), (Way(D(0), 0, D(5)),), D(0))])
    assert visits == rework.Visits(D(0), (D(0),))


@pytest.mark.parametrize(
    ("chance", "to", "at", "field", "sentence"),
    [
        (D("-0.1"), 0, 0, "chance", "The chance of failing is -0.1. Give 0 or more."),
        (D(1), 0, 0, "chance", "The chance of failing is 1: this step would never be done. Give less than 1."),
        (
            D("0.1"),
            1,
            0,
            "back to",
            "A failed step sends the part back to a later step. Choose this step or an earlier one.",
        ),
    ],
)
def test_a_way_back_that_makes_no_sense_is_refused(
    chance: Decimal, to: int, at: int, field: str, sentence: str
) -> None:
    with pytest.raises(BadInput) as caught:
        rework.check(chance, to, at)
    assert (caught.value.field, caught.value.sentence()) == (field, sentence)


def test_ways_back_that_leave_no_success_are_refused() -> None:
    with pytest.raises(BadInput, match=r"add up to 1.0: this step would never be done"):
        rework.check_total([D("0.6"), D("0.4")])


def test_the_time_it_takes_grows_with_the_steps_only() -> None:
    """A long route is no matter: two thousand stages with ways back over the whole of it."""
    stages = [Stage(D(1), D(1), (Way(D("0.0001"), 0, D(0)),), D(0)) for _ in range(2_000)]
    assert len(rework.visits(stages)) == 2_000
