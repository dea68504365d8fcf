"""The quantiles of the few variables against those of walks, step by step, through everything that can happen.

`oracle` walks; this only compares. Of the twenty bikes half are as a shop has them, half have routes, prices and failures
of all kinds. Invented data.
"""

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from quotes.engine.chance.contingency import assess
from tests.engine.build import back, operation, part, policy, priced, restoration, step
from tests.engine.chance import oracle
from tests.engine.chance.uncertain import Uncertain, bike_by, expected_cost

D = Decimal
BIKES = 20
QUANTILES = (0.5, 0.8, 0.9)
WITHIN = 0.005  # of the total


def bike(number: int) -> Uncertain:
    """From 200 to 1,500 steps."""
    return bike_by(number, 200 + 1_300 * number // (BIKES - 1), like_a_shop=number % 2 == 0)


def far_off(found: Uncertain, trials: int) -> list[float]:
    """How far each quantile is off, as a fraction of the total."""
    result = assess(*found)
    walked = oracle.totals(*found, trials=trials, seed=trials)
    walked += float(expected_cost(found) * found.restoration.policy.comebacks)
    assert walked.mean() == pytest.approx(float(result.mean), abs=5 * walked.std() / trials**0.5)
    assert walked.std() == pytest.approx(float(result.deviation), rel=0.02)
    return [abs(oracle.quantile(result.totals, kept) / oracle.quantile(walked, kept) - 1) for kept in QUANTILES]


@pytest.mark.parametrize("number", [1, 2])
def test_quantiles_are_those_of_a_hundred_thousand_walks(number: int) -> None:
    off = far_off(bike(number), 100_000)
    assert max(off) < WITHIN


@pytest.mark.long
@pytest.mark.parametrize("number", range(BIKES))
def test_quantiles_are_those_of_a_million_walks(number: int) -> None:
    off = far_off(bike(number), 1_000_000)
    assert max(off) < WITHIN


@pytest.mark.control
def test_walks_would_show_a_spread_that_is_left_out() -> None:
    """Without the pace the 9-in-10 cost of the same bike is off by far more than the tolerance."""
    found = bike(2)
    assert found.restoration.policy.pace_spread > 0
    steady = replace(found.restoration, policy=replace(found.restoration.policy, pace_spread=D(0)))
    walked = oracle.totals(*found, trials=20_000, seed=1)
    off = oracle.quantile(assess(*found._replace(restoration=steady)).totals, 0.9) / oracle.quantile(walked, 0.9) - 1
    assert abs(off) > 4 * WITHIN


def test_the_walks_themselves_are_right_where_the_answer_is_known() -> None:
    """One step, p = .2, 10 at a time, one speed of CV .4 for all its visits: mean 12.5, variance 61.25 (DESIGN)."""
    one = part("a", step("s", quantity=D(10), ways_back=(back("0.2", "s"),)))
    changes = {"policy": policy(pace_spread=D(0)), "operations": (operation(spread=D("0.4")),)}
    walked = oracle.totals(restoration(one, **changes), priced(one, **changes).steps, (), trials=400_000, seed=3)
    assert float(walked.mean()) == pytest.approx(12.5, rel=0.005)
    assert float(np.var(walked)) == pytest.approx(61.25, rel=0.02)
