"""Storage by held days, against the worked table in the module."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.storage import Terms, storage, stretches

D = Decimal
TERMS = Terms(5, D("4.00"))
Held = list[tuple[date, date | None]]


def march(day: int) -> date:
    return date(2026, 3, day)


@pytest.mark.parametrize(
    ("held", "until", "days", "charged", "amount"),
    [
        # Worked by hand; the rows of the module's table.
        ([(march(1), march(4))], 31, [4], [0], "0.00"),
        ([(march(1), march(5))], 31, [5], [1], "4.00"),
        ([(march(1), march(6)), (march(4), march(10))], 31, [10], [6], "24.00"),
        ([(march(1), march(6)), (march(7), march(10))], 31, [10], [6], "24.00"),
        ([(march(1), march(6)), (march(8), march(10))], 31, [6, 3], [2, 0], "8.00"),
        ([(march(1), None)], 12, [12], [8], "32.00"),
    ],
)
def test_the_worked_table_holds(held: Held, until: int, days: list[int], charged: list[int], amount: str) -> None:
    found = storage(held, march(until), lambda _day: TERMS)
    assert [one.days for one in found] == days
    assert [one.charged for one in found] == charged
    assert sum((one.amount for one in found), D(0)) == D(amount)


def test_days_to_come_are_not_charged_before_they_come() -> None:
    assert storage([(march(10), march(20)), (march(25), None)], march(12), lambda _day: TERMS)[0].days == 3
    assert storage([(march(10), None)], march(9), lambda _day: TERMS) == ()


def test_a_hold_inside_another_adds_nothing() -> None:
    assert stretches([(march(1), march(20)), (march(5), march(6)), (march(3), None)], march(8)) == [
        (march(1), march(8))
    ]


def test_a_stretch_goes_by_the_terms_of_its_first_day() -> None:
    """Hand-worked: from 10 March on it costs 6.00 from the second day. 1 to 7 March: 3 days at 4.00; 12 to 14: 2 at 6.00."""
    terms = lambda day: Terms(2, D("6.00")) if day >= march(10) else TERMS  # noqa: E731
    found = storage([(march(1), march(7)), (march(12), march(14))], march(31), terms)
    assert [one.amount for one in found] == [D("12.00"), D("12.00")]


@pytest.mark.parametrize(("after", "rate"), [(0, "1"), (1, "-0.01")])
def test_terms_that_cannot_be_are_refused(after: int, rate: str) -> None:
    with pytest.raises(BadInput):
        Terms(after, D(rate))


HOLDS = st.lists(
    st.tuples(st.integers(0, 60), st.none() | st.integers(0, 20)).map(
        lambda pair: (
            march(1) + timedelta(days=pair[0]),
            None if pair[1] is None else march(1) + timedelta(days=sum(pair)),
        )  # type: ignore[arg-type]
    ),
    max_size=6,
)


@given(held=HOLDS, until=st.integers(0, 70), after=st.integers(1, 9))
def test_each_day_counts_once_and_a_longer_look_never_costs_less(held: Held, until: int, after: int) -> None:
    """Against counting days one by one on a calendar."""
    end = march(1) + timedelta(days=until)
    every = {march(1) + timedelta(days=off) for off in range(until + 1)}
    days = {day for day in every if any(first <= day <= (last or end) for first, last in held)}
    run, charged = 0, 0
    for off in range(until + 1):
        run = run + 1 if march(1) + timedelta(days=off) in days else 0
        charged += run >= after
    found = storage(held, end, lambda _day: Terms(after, D(1)))
    assert sum(one.days for one in found) == len(days)
    assert sum(one.charged for one in found) == charged
