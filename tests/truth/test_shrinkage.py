"""Chances that tell each other, against published figures and scipy."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats
from scipy.optimize import minimize

from quotes.engine.learning.chances import MOST, Beta, below, by_moments, likeliest, quantile

# Rat tumours, 71 groups: tumours of rats (Gelman and others, *Bayesian Data Analysis*, Table 5.1; SOURCES 12).
HITS = (
    "0 0 0 0 0 0 0 0 0 0 0 0 0 0 1 1 1 1 1 1 1 1 2 2 2 2 2 2 2 2 2 1 5 2 5 3 2 7 7 3 3 2 9 10 4 4 4 4 4 4 4 10 4 4 4 5"
    " 11 12 5 5 6 5 6 6 6 6 16 15 15 9 4"
)
COUNTS = (
    "20 20 20 20 20 20 20 19 19 19 19 18 18 17 20 20 20 20 19 19 18 18 25 24 23 20 20 20 20 20 20 10 49 19 46 27 17 49 47"
    " 20 20 13 48 50 20 20 20 20 20 20 20 48 19 19 19 22 46 49 20 20 23 19 22 20 20 20 52 46 47 24 14"
)
RATS = [(int(hits), int(count)) for hits, count in zip(HITS.split(), COUNTS.split(), strict=True)]


def test_the_rats_are_those_of_the_table() -> None:
    assert (len(RATS), sum(h for h, _ in RATS), sum(n for _, n in RATS), RATS[-1]) == (71, 267, 1739, (4, 14))


def test_the_moments_of_the_first_seventy_groups() -> None:
    """Printed as "1.4, 8.6"; unrounded 1.3561, 8.6151. With these the last group comes to .223 and .083 (printed)."""
    prior = by_moments([hits / count for hits, count in RATS[:-1]])
    assert (round(prior.a, 4), round(prior.b, 4)) == (1.3561, 8.6151)
    last = prior.after(4, 14)
    assert (round(last.mean, 4), round(math.sqrt(last.variance), 4)) == (0.2234, 0.0834)


def test_rounding_the_prior_first_would_say_something_else() -> None:
    assert round(Beta(1.4, 8.6).after(4, 14).mean, 3) == 0.225


def test_the_likeliest_prior_of_all_groups() -> None:
    """2.3416, 14.1148 (computed), and scipy's optimum of its own beta-binomial."""
    found = likeliest(RATS)
    assert (round(found.a, 4), round(found.b, 4)) == (2.3416, 14.1148)

    def surprise(logs: list[float]) -> float:
        a, b = (math.exp(each) for each in logs)
        return -sum(stats.betabinom.logpmf(h, n, a, b) for h, n in RATS)

    theirs = minimize(surprise, [0.5, 2.0], method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10})
    assert [math.log(found.a), math.log(found.b)] == pytest.approx(list(theirs.x), abs=1e-4)


def test_groups_that_are_all_alike_are_taken_for_one() -> None:
    found = likeliest([(10, 100)] * 5)
    assert found.a + found.b == pytest.approx(MOST)
    assert found.mean == pytest.approx(0.1)


@pytest.mark.parametrize(("trials", "mean"), [([], 0.5), ([(0, 40)], 0.5 / 40), ([(3, 12)], 0.25), ([(2, 2)], 0.75)])
def test_little_is_told_from_one_thing_alone(trials: list[tuple[int, int]], mean: float) -> None:
    """It is worth one trial, or two where nothing was tried."""
    found = likeliest(trials)
    assert found.mean == pytest.approx(mean)
    assert found.a + found.b <= 2


@settings(deadline=None, max_examples=200)
@given(st.floats(0.3, 400), st.floats(0.3, 400), st.floats(0.001, 0.999))
def test_the_beta_is_scipys(a: float, b: float, x: float) -> None:
    assert below(x, a, b) == pytest.approx(special.betainc(a, b, x), abs=1e-10)
    assert special.betainc(a, b, quantile(x, a, b)) == pytest.approx(x, abs=1e-9)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="no share"):
        Beta(1, 1).after(3, 2)
    with pytest.raises(ValueError, match="no probability"):
        Beta(1, 1).interval(1)
    with pytest.raises(ValueError, match="all alike"):
        by_moments([0.1, 0.1])
