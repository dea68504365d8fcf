from decimal import Decimal

import pytest

from quotes.engine.inputs import OverheadBy
from quotes.engine.labour import expected_minutes, standard_time, standard_time_of_workday
from quotes.engine.visits import labour_cost, overhead_cost

D = Decimal
PLAIN = {
    "setup": D(30),
    "run": D(5),
    "quantity": D(8),
    "condition": D(1),
    "allowance": D(0),
    "shop_factor": D(1),
    "pace": D(1),
}


@pytest.mark.parametrize(
    ("change", "minutes"),
    [
        ({}, D(70)),  # 30 + 5 × 8
        ({"condition": D("1.5")}, D(90)),  # 30 + 40 × 1.5: the condition is on the run only
        ({"allowance": D("0.1")}, D(77)),  # (30 + 40) × 1.1: the allowance is on both
        ({"shop_factor": D("1.2")}, D(84)),
        ({"pace": D("1.5")}, D(105)),  # above 1 is slower
        ({"setup": D(0)}, D(40)),
        ({"run": D(0)}, D(30)),
    ],
)
def test_each_factor_acts_where_the_formula_has_it(change: dict[str, Decimal], minutes: Decimal) -> None:
    assert expected_minutes(**(PLAIN | change)) == minutes


def test_all_factors_together() -> None:
    changes = {"condition": D("1.5"), "allowance": D("0.1"), "shop_factor": D("1.2"), "pace": D("1.5")}
    assert expected_minutes(**(PLAIN | changes)) == D("178.2")  # (30 + 60) × 1.1 × 1.2 × 1.5


def test_the_two_allowance_conventions_are_not_the_same() -> None:
    assert standard_time(D(100), D("0.15")) == D(115)
    assert standard_time_of_workday(D(100), D("0.15")).quantize(D("0.01")) == D("117.65")


def test_labour_costs_its_share_of_the_hour() -> None:
    assert labour_cost(D(90), D(40)) == D(60)


def test_overhead_goes_by_hours_or_by_labour_money() -> None:
    assert overhead_cost(minutes=D(90), labour=D(60), rate=D(10), by=OverheadBy.HOURS) == D(15)
    assert overhead_cost(minutes=D(90), labour=D(60), rate=D("0.5"), by=OverheadBy.LABOUR) == D(30)
