import pytest

from quotes.engine.learning.calibration import ENOUGH, Held, calibration


def held(within: int, over: int) -> list[Held]:
    return [Held(1000, 150, 1100)] * within + [Held(1000, 150, 1300)] * over


def test_few_quotes_say_nothing_yet() -> None:
    assert calibration(held(20, ENOUGH - 21), wanted=0.8).says == "few"
    assert calibration(held(24, ENOUGH - 24), wanted=0.8).says == "as wanted"


def test_the_interval_decides_and_not_the_share_alone() -> None:
    """Wilson, 90 %: of 100, 70 lie from .620 to .769, 74 from .663 to .806, 90 from .838 to .940 (statsmodels)."""
    assert calibration(held(70, 30), wanted=0.8).says == "seldom"
    assert calibration(held(74, 26), wanted=0.8).says == "as wanted"
    assert calibration(held(90, 10), wanted=0.8).says == "often"


def test_what_they_cost_beyond_what_was_expected() -> None:
    assert calibration(held(30, 10), wanted=0.8).over == pytest.approx((30 * 1100 + 10 * 1300) / 40_000 - 1)
    assert calibration([], wanted=0.8).over is None


def test_a_cost_right_at_the_limit_is_within() -> None:
    assert Held(1000, 150, 1150).within
    assert not Held(1000, 150, 1151).within
