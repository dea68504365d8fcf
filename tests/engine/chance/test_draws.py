"""Who is drawn when."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from quotes.engine.chance.draws import TRIALS, normals, order, strata

uids = st.uuids().map(str)


def test_strata_are_the_middles_of_equal_chances() -> None:
    assert len(strata()) == TRIALS == 20_000
    assert np.allclose(np.diff(strata()), 1 / TRIALS)
    assert strata()[0] == 0.5 / TRIALS
    assert np.allclose(normals(), stats.norm.ppf(strata()), atol=1e-12)


@given(uids)
def test_every_trial_has_its_turn_once(uid: str) -> None:
    assert np.array_equal(np.sort(order(uid)), np.arange(TRIALS))


@given(uids, st.integers(0, TRIALS))
def test_a_rarer_event_happens_in_some_of_the_same_trials(uid: str, count: int) -> None:
    assert np.array_equal(order(uid, count), order(uid)[:count])


def test_the_order_follows_from_the_uid_alone_on_any_machine() -> None:
    """The first trials of one uid, as this release draws them: another order would change contingencies unnoticed."""
    assert order("a permanent uid", 5).tolist() == [11654, 18903, 297, 11269, 3871]


@given(uids, uids)
def test_two_things_are_drawn_apart(one: str, other: str) -> None:
    """Ranks of independent orders correlate by about 1/√N; five times that is one pair in two million."""
    if one != other:
        assert abs(np.corrcoef(order(one), order(other))[0, 1]) < 5 / np.sqrt(TRIALS)


def test_neighbours_in_an_order_are_not_alike() -> None:
    """Serial correlation over a hundred orders; scipy tests that it looks like a standard normal times 1/√N."""
    found = [np.corrcoef(order(str(n))[:-1], order(str(n))[1:])[0, 1] * np.sqrt(TRIALS) for n in range(100)]
    assert stats.kstest(found, "norm").pvalue > 0.001


@pytest.mark.parametrize("count", [600, 3_000, 10_000])
def test_rare_events_fall_on_all_trials_alike(count: int) -> None:
    """Chi-square over twenty blocks of trials, fifty uids together."""
    blocks = np.zeros(20)
    for number in range(50):
        blocks += np.bincount(order(f"event {number}", count) * 20 // TRIALS, minlength=20)
    expected = 50 * count / 20
    assert stats.chi2.sf(((blocks - expected) ** 2 / expected).sum(), 19) > 0.001
