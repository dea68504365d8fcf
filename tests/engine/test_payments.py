"""Receipts spread over instalments, and what of the money is still owed as work."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.payments import Asked, Paid, allocated, before_tax, exposure, in_order, late, owed_as_work

D = Decimal
DAY = date(2026, 3, 20)


def march(day: int) -> date:
    return date(2026, 3, day)


DEPOSIT = Asked("deposit", D(500), march(1))
STRIPPED = Asked("stripped", D(400), march(15))
BALANCE = Asked("balance", D(600))
CREDIT = Asked("credit", D(-100))


# -- worked by hand: the table in the module ---------------------------------------------------------------------------


def test_the_worked_table_holds() -> None:
    asked = [DEPOSIT, STRIPPED, BALANCE, CREDIT]
    paid = allocated(asked, D(700), DAY)
    assert paid == Paid({"deposit": D(500), "stripped": D(200), "balance": D(100)}, D(0))
    assert late(asked, paid, DAY) == (D(200), march(15))


def test_what_fell_due_first_is_paid_first_however_it_is_listed() -> None:
    paid = allocated([BALANCE, STRIPPED, DEPOSIT], D(550), DAY)
    assert paid.covered == {"deposit": D(500), "stripped": D(50), "balance": D(0)}


def test_of_one_day_the_first_listed_is_paid_first() -> None:
    one, other = Asked("b", D(10), march(1)), Asked("a", D(10), march(1))
    assert allocated([one, other], D(10), DAY).covered == {"b": D(10), "a": D(0)}


def test_what_is_paid_ahead_goes_to_the_next_by_day_and_then_as_listed() -> None:
    soon = Asked("soon", D(50), march(25))
    asked = [BALANCE, Asked("later", D(70), date(2026, 4, 1)), soon, DEPOSIT]
    covered = allocated(asked, D(560), DAY).covered
    assert covered == {"deposit": D(500), "soon": D(50), "later": D(10), "balance": D(0)}


def test_a_credit_comes_off_the_last_payment_until_it_is_due() -> None:
    """By hand: 500 is due and paid; 100 of the balance will be taken off; the stage between is untouched."""
    waiting = Asked("stripped", D(400))
    paid = allocated([DEPOSIT, waiting, BALANCE, CREDIT], D(500), DAY)
    assert paid.covered == {"deposit": D(500), "stripped": D(0), "balance": D(100)}


def test_a_credit_that_is_due_pays_like_money() -> None:
    due = Asked("credit", D(-100), march(18))
    asked = [DEPOSIT, STRIPPED, due]
    paid = allocated(asked, D(600), DAY)
    assert paid.covered == {"deposit": D(500), "stripped": D(200)}
    assert late(asked, paid, DAY)[0] == D(200)


def test_what_is_due_today_is_not_late_before_tomorrow() -> None:
    asked = [Asked("deposit", D(500), DAY)]
    paid = allocated(asked, D(0), DAY)
    assert late(asked, paid, DAY) == (D(0), None)
    assert late(asked, paid, DAY + timedelta(days=1)) == (D(500), DAY)


def test_an_overpayment_is_over() -> None:
    assert allocated([DEPOSIT], D("500.01"), DAY) == Paid({"deposit": D(500)}, D("0.01"))


def test_money_below_zero_covers_nothing() -> None:
    assert allocated([DEPOSIT], D(-20), DAY) == Paid({"deposit": D(0)}, D(-20))


# -- whatever is asked and received ------------------------------------------------------------------------------------

AMOUNTS = st.decimals(min_value=-5_000, max_value=5_000, places=2).filter(bool)
DAYS = st.none() | st.integers(-40, 40).map(lambda off: DAY + timedelta(days=off))
ASKED = st.lists(st.tuples(AMOUNTS, DAYS), max_size=8).map(
    lambda rows: [Asked(str(number), amount, due) for number, (amount, due) in enumerate(rows)]
)
RECEIVED = st.decimals(min_value=0, max_value=30_000, places=2)


@given(asked=ASKED, received=RECEIVED)
def test_every_penny_goes_somewhere(asked: list[Asked], received: Decimal) -> None:
    paid = allocated(asked, received, DAY)
    missing = sum((item.amount - paid.covered[item.key] for item in asked if item.amount > 0), D(0))
    assert paid.over - missing == received - sum((item.amount for item in asked), D(0))
    assert all(D(0) <= paid.covered[item.key] <= item.amount for item in asked if item.amount > 0)
    assert paid.over >= 0
    assert paid.covered.keys() == {item.key for item in asked if item.amount > 0}


@given(asked=ASKED, received=RECEIVED)
def test_of_what_is_due_nothing_is_paid_before_what_is_older(asked: list[Asked], received: Decimal) -> None:
    paid = allocated(asked, received, DAY)
    due = [item for item in in_order(asked, DAY) if item.is_due(DAY)]
    for older, newer in pairwise(due):
        assert older.due_on <= newer.due_on  # type: ignore[operator]
        assert not paid.covered[newer.key] or paid.covered[older.key] == older.amount


@given(asked=ASKED, received=RECEIVED, more=st.decimals(min_value=0, max_value=9_000, places=2))
def test_more_money_never_makes_anything_later(asked: list[Asked], received: Decimal, more: Decimal) -> None:
    before, after = allocated(asked, received, DAY), allocated(asked, received + more, DAY)
    assert all(after.covered[key] >= covered for key, covered in before.covered.items())
    assert late(asked, after, DAY)[0] <= late(asked, before, DAY)[0]


@given(asked=ASKED, received=RECEIVED)
def test_what_is_late_is_gone_once_it_is_paid(asked: list[Asked], received: Decimal) -> None:
    amount, since = late(asked, allocated(asked, received, DAY), DAY)
    assert (amount == 0) == (since is None)
    assert late(asked, allocated(asked, received + amount, DAY), DAY) == (D(0), None)


# -- liability and exposure --------------------------------------------------------------------------------------------


def test_a_deposit_is_a_liability_until_the_work_is_done() -> None:
    """Source: IFRS 15, Illustrative Examples, Example 38 case A (contract liability): 1000 is received on 1 March in
    advance; it stands as a contract liability of 1000 until the goods are transferred on 31 March, and then at nothing.
    Figures from memory.
    """
    assert owed_as_work(D(1000), D(0)) == D(1000)
    assert owed_as_work(D(1000), D(1000)) == D(0)


def test_what_is_delivered_beyond_what_was_received_is_no_liability() -> None:
    assert owed_as_work(D(1000), D(1400)) == D(0)


def test_a_deposit_holds_tax_as_the_price_does() -> None:
    """Hand-worked: of 1200.00 with a fifth of tax, 1000.00 is before tax; so 600.00 holds 100.00 of tax. With two rates
    (net 1000.00 + 500.00, tax 200.00 + 25.00) 345.00 is a fifth of 1725.00, and so is 300.00 of 1500.00.
    """
    assert before_tax(D("600.00"), net=D("1000.00"), total=D("1200.00"), digits=2) == D("500.00")
    assert before_tax(D("345.00"), net=D("1500.00"), total=D("1725.00"), digits=2) == D("300.00")
    assert before_tax(D("80.00"), net=D(0), total=D(0), digits=2) == D("80.00")


def test_exposure_is_cost_and_commitments_less_what_was_received() -> None:
    """Hand-worked: 2100 in hours and charges, 650 ordered, 2400 received: 350 of the shop's own money is in the bike."""
    assert exposure(cost=D(2100), committed=D(650), received=D(2400)) == D(350)
    assert exposure(cost=D(100), committed=D(0), received=D(2400)) == D(-2300)


@pytest.mark.parametrize("wrong", ["cost", "committed"])
def test_no_cost_is_below_zero(wrong: str) -> None:
    with pytest.raises(BadInput) as refused:
        exposure(**({"cost": D(0), "committed": D(0), "received": D(0)} | {wrong: D(-1)}))
    assert refused.value.field == wrong
    with pytest.raises(BadInput):
        owed_as_work(D(1), D(-1))
