"""The inverse distribution functions against scipy's, which integrates and inverts them another way."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from quotes.engine.chance import quantiles
from quotes.engine.chance.draws import normals, strata

AT = strata()


def moments(values: Any) -> tuple[float, float, float]:
    mean = values.mean()
    return float(mean), float(((values - mean) ** 2).mean()), float(((values - mean) ** 3).mean())


@pytest.mark.parametrize("mode", [0, 0.01, 0.1, 2 / 7, 0.5, 0.77, 1])
def test_pert_is_scipys_beta(mode: float) -> None:
    """α = 1 + 4 (m − a)/(b − a), β = 6 − α: SOURCES 11."""
    expected = stats.beta(1 + 4 * mode, 5 - 4 * mode, loc=30, scale=70).ppf(AT)
    assert np.abs(quantiles.pert(AT, 30, 30 + 70 * mode, 100) - expected).max() < 70 * 1e-5


@pytest.mark.parametrize("shape", [0.01, 0.1, 0.5, 1, 3, 30, 1_000, 1e6, 1e12])
def test_gamma_is_scipys(shape: float) -> None:
    expected = stats.gamma(shape, scale=500 / shape).ppf(AT)
    found = quantiles.gamma(AT, 500, 500**2 / shape)
    assert np.abs(found - expected).max() < 2e-4 * np.abs(expected).max()
    inner = (AT > 0.01) & (AT < 0.99)
    assert np.allclose(found[inner], expected[inner], rtol=1e-4, atol=1e-12)


@pytest.mark.parametrize("spread", [0.02, 0.15, 0.25, 1])
def test_lognormal_is_scipys_of_mean_one(spread: float) -> None:
    """exp(µ + σ²/2) = 1 with σ² = ln(1 + CV²): a property of the distribution in every textbook, from memory."""
    sigma = np.sqrt(np.log(1 + spread**2))
    expected = stats.lognorm(sigma, scale=np.exp(-(sigma**2) / 2))
    assert expected.mean() == pytest.approx(1)
    assert expected.std() == pytest.approx(spread)
    assert np.allclose(quantiles.lognormal(normals(), spread), expected.ppf(AT), rtol=1e-12)


def test_any_chances_in_any_order_can_be_asked() -> None:
    at = np.array([0.9, 0.001, 0.5])
    assert np.allclose(quantiles.pert(at, 0, 1, 3), stats.beta(1 + 4 / 3, 5 - 4 / 3, scale=3).ppf(at), atol=1e-5)
    assert np.allclose(quantiles.gamma(at, 5, 5), stats.gamma(5).ppf(at), rtol=1e-4)
    assert np.allclose(quantiles.normal(at), stats.norm.ppf(at))


@pytest.mark.parametrize(
    "found",
    [
        quantiles.gamma(AT, 12.5, 0),
        quantiles.gamma_beyond(AT, 12.5, 0, 0),
        quantiles.lognormal_beyond(normals(), 12.5, 0, 0),
        12.5 * quantiles.lognormal(normals(), 0),
        quantiles.pert(AT, 12.5, 12.5, 12.5),
    ],
)
def test_without_spread_every_draw_is_the_mean_exactly(found: Any) -> None:
    assert set(found.tolist()) == {12.5}


def test_nothing_costs_nothing() -> None:
    assert not quantiles.gamma(AT, 0, 0).any()
    assert not quantiles.lognormal_beyond(normals(), 0, 0, 0).any()
    assert not quantiles.pert(AT, 0, 0, 0).any()


@pytest.mark.parametrize("beyond", [quantiles.gamma_beyond, quantiles.lognormal_beyond])
@pytest.mark.parametrize("skewness", [0.7, 1, 2])
def test_what_lies_beyond_a_fixed_amount_has_the_three_moments(beyond: Callable[..., Any], skewness: float) -> None:
    """Moments of 20,000 strata: the farthest tail is what they miss."""
    at = AT if beyond is quantiles.gamma_beyond else normals()
    found = moments(beyond(at, 100, 400, skewness * 20**3))
    assert found[0] == pytest.approx(100, rel=1e-4)
    assert found[1] == pytest.approx(400, rel=0.01)
    assert found[2] == pytest.approx(skewness * 20**3, rel=0.1)


@pytest.mark.parametrize("beyond", [quantiles.gamma_beyond, quantiles.lognormal_beyond])
@pytest.mark.parametrize("third", [-1e9, 0, 1, 1e3, 1e6, 1e9])
def test_nothing_is_ever_negative(beyond: Callable[..., Any], third: float) -> None:
    at = AT if beyond is quantiles.gamma_beyond else normals()
    assert beyond(at, 100, 400, third).min() >= 0
    assert beyond(at, 100, 40_000, third).min() >= 0


fractions = st.floats(0, 1)


@given(fractions, fractions)
def test_a_likelier_dear_end_never_gives_a_cheaper_draw(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert (quantiles.pert(AT, 10, 10 + 50 * low, 60) <= quantiles.pert(AT, 10, 10 + 50 * high, 60) + 1e-9).all()


def test_a_higher_end_alone_makes_the_cheap_draws_cheaper() -> None:
    """Why a dearer possible damage is one that is dearer at every chance: PERT-beta leans back when its end moves out."""
    near, far = quantiles.pert(AT, 0, 100, 100), quantiles.pert(AT, 0, 100, 150)
    assert near.mean() < far.mean()
    assert near[2_000] > far[2_000]
    expected = (
        stats.beta(1 + 4 / 1.5, 5 - 4 / 1.5, scale=150).ppf(AT[2_000]),
        stats.beta(5, 1, scale=100).ppf(AT[2_000]),
    )
    assert expected[0] < expected[1]
