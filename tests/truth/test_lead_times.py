"""Shares with their interval and lead times with those still out, against published figures and scipy."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from quotes.engine.chance.lead_times import Lead, share, still_out, within

# Freireich et al., Blood 21 (1963): weeks of remission under 6-mercaptopurine; "+" is still in remission. From memory,
# as are the estimates below, which textbooks of survival analysis print from it.
TREATED = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PRINTED = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def leads(text: str) -> list[Lead]:
    return [Lead(int(word.rstrip("+")), word.endswith("+")) for word in text.split()]


def test_the_product_limit_estimate_is_the_one_that_is_printed() -> None:
    assert {day: round(left, 3) for day, left in still_out(leads(TREATED))} == PRINTED


def test_the_median_counts_those_that_are_still_out() -> None:
    """23 weeks treated against 8 without (from memory). Leaving out those still in remission would say 10."""
    assert within(leads(TREATED), 0.5) == 23
    assert within(leads(PLACEBO), 0.5) == 8
    assert within([lead for lead in leads(TREATED) if not lead.out], 0.5) == 10


def test_with_too_many_still_out_nobody_can_say() -> None:
    assert within(leads(TREATED), 0.8) is None


# R 3.6.2 prop.test, as scipy's own tests quote it (SOURCES 12); 100 of 200 as in R's DescTools.
@pytest.mark.parametrize(
    ("hits", "count", "level", "low", "high"),
    [
        (3, 10, 0.95, 0.1077913, 0.6032219),
        (3, 10, 0.99, 0.07956632, 0.6799753),
        (0, 10, 0.95, 0.0, 0.2775328),
        (10, 10, 0.95, 0.7224672, 1.0),
        (100, 200, 0.95, 0.4313609, 0.5686391),
    ],
)
def test_the_interval_of_a_share_is_wilsons(hits: int, count: int, level: float, low: float, high: float) -> None:
    found = share(hits, count, level=level)
    assert math.isclose(found.low, low, abs_tol=6e-8)
    assert math.isclose(found.high, high, abs_tol=6e-8)


@settings(deadline=None)
@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.floats(0.5, 0.99))
def test_the_interval_is_scipys(given_: tuple[int, int], level: float) -> None:
    hits, count = given_
    theirs = stats.binomtest(hits, count).proportion_ci(level, method="wilson")
    ours = share(hits, count, level=level)
    assert math.isclose(ours.low, theirs.low, abs_tol=1e-9)
    assert math.isclose(ours.high, theirs.high, abs_tol=1e-9)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(1, 60), st.booleans()), min_size=1, max_size=80))
def test_the_estimate_is_scipys(jobs: list[tuple[int, bool]]) -> None:
    ours = dict(still_out([Lead(days, out) for days, out in jobs]))
    sample = stats.CensoredData(
        uncensored=[days for days, out in jobs if not out], right=[days for days, out in jobs if out]
    )
    theirs = stats.ecdf(sample).sf
    expected = {int(q): p for q, p in zip(theirs.quantiles, theirs.probabilities, strict=True)}
    for day, left in ours.items():
        assert math.isclose(left, expected[day], abs_tol=1e-9)


def test_of_nothing_nothing_is_known() -> None:
    found = share(0, 0)
    assert (found.low, found.high, found.value) == (0.0, 1.0, 0.0)
    assert still_out([]) == []
    assert within([], 0.5) is None


@pytest.mark.parametrize("wrong", [(-1, 4, 0.9), (5, 4, 0.9), (1, 4, 1.0)])
def test_what_cannot_be_is_refused(wrong: tuple[int, int, float]) -> None:
    with pytest.raises(ValueError, match=r"no share|no probability"):
        share(*wrong[:2], level=wrong[2])
