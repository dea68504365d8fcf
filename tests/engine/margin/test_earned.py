"""Earned value by hand-worked weeks; published figures stand in `tests.truth.test_earned_value`."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.margin.budgets import JobBudget, Kind, Reserve, StepBudget
from quotes.engine.margin.earned import Progress, Rule, Week, course, progress, value_of
from quotes.engine.margin.variances import of_job
from quotes.engine.results import Visit
from tests.engine.margin import made

D = Decimal


def step(uid: str, labour: int) -> StepBudget:
    return StepBudget(uid, "frame", first=Visit(labour=D(labour)))


JOB = JobBudget((step("strip", 200), step("weld", 300)), (Reserve("frame", Kind.DAMAGE, Visit(labour=D(50))),))


def test_a_step_earns_all_or_nothing_and_a_reserve_when_it_is_settled() -> None:
    day = progress(JOB, due=["strip", "weld"], done=["strip"], actual=D(240))
    assert day == Progress(D(550), D(500), D(200), D(240))
    assert (day.cost_variance, day.schedule_variance, day.left) == (-40, -300, 350)
    assert value_of(JOB, ["frame damage", "nobody's"]) == 50


def test_what_is_earned_stays_earned_when_a_later_week_says_otherwise() -> None:
    weeks = [
        Week(JOB, ["strip"], ["strip"], D(210)),
        Week(JOB, ["strip", "weld"], [], D(260)),
        Week(JOB, ["strip", "weld"], ["weld"], D(640)),
    ]
    assert [day.earned for day in course(weeks)] == [200, 200, 500]
    assert [day.planned for day in course(weeks)] == [200, 500, 500]


def test_what_would_divide_by_nothing_is_not_told() -> None:
    nothing = Progress(D(500), D(0), D(0), D(0))
    assert (nothing.cost_index, nothing.schedule_index) == (None, None)
    assert [nothing.estimate(rule) for rule in Rule] == [500, None, None]
    assert Progress(D(500), D(0), D(100), D(500)).index_to_complete(D(500)) is None


@pytest.mark.parametrize("seed", range(60))
def test_earned_value_is_what_the_closing_identity_earns(seed: int) -> None:
    job = made.job(seed)
    done = [item.uid for item in job.spent if item.done]
    variances = of_job(job.budget, job.spent)
    day = progress(job.budget, due=(), done=done, actual=variances.actual)
    assert day.earned == variances.earned
    assert Fraction(day.cost_variance) == -Fraction(variances.terms.total)


MONEY = st.integers(1, 10**7).map(D)


@given(bac=MONEY, planned=MONEY, earned=MONEY, actual=MONEY)
def test_the_rules_are_their_formulas(bac: Decimal, planned: Decimal, earned: Decimal, actual: Decimal) -> None:
    """Against fractions of CPI and SPI as they are written down."""
    day = Progress(bac, planned, earned, actual)
    cpi, spi = Fraction(earned) / Fraction(actual), Fraction(earned) / Fraction(planned)
    expected = {
        Rule.AS_BUDGETED: Fraction(actual) + Fraction(bac) - Fraction(earned),
        Rule.AS_SO_FAR: Fraction(bac) / cpi,
        Rule.AS_SO_FAR_AND_LATE: Fraction(actual) + (Fraction(bac) - Fraction(earned)) / (cpi * spi),
    }
    for rule, exact in expected.items():
        found = day.estimate(rule)
        assert found is not None
        assert abs(Fraction(found) - exact) <= abs(exact) / 10**20 + Fraction(1, 10**10)
