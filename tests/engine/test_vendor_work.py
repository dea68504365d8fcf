from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.inputs import Break
from quotes.engine.vendor_work import checked_breaks, lot_price

D = Decimal


def table(*rows: tuple[int, str]) -> list[Break]:
    return [Break(D(start), D(rate)) for start, rate in rows]


STEPS = table((0, "2.00"), (50, "1.50"), (100, "0.50"))


@pytest.mark.parametrize(
    ("quantity", "price"),
    [
        (0, "0"),  # nothing sent costs nothing, not even the minimum
        (5, "20"),  # 10 for the work, 5 for the lot: the minimum of 20 has the lot charge in it
        (20, "45"),  # 5 + 20 × 2.00
        (24, "53"),  # 5 + 24 × 2.00 is still below 100 pieces at 0.50
        (25, "55"),  # the same as paying for 100
        (40, "55"),  # 100 at 0.50 is cheaper than 40 at 2.00, and than 50 at 1.50
        (50, "55"),
        (100, "55"),
        (120, "65"),
    ],
)
def test_a_lot_is_charged_at_the_cheapest_quantity_not_below_the_needed_one(quantity: int, price: str) -> None:
    assert lot_price(quantity=D(quantity), breaks=STEPS, lot_charge=D(5), minimum=D(20)) == D(price)


@st.composite
def tables(draw: st.DrawFn) -> list[Break]:
    starts = [0, *sorted(draw(st.sets(st.integers(1, 40), max_size=4)))]
    return [Break(D(start), D(draw(st.integers(0, 900))) / 100) for start in starts]


money = st.integers(0, 9_000).map(lambda cents: D(cents) / 100)


@given(tables(), st.integers(1, 60), money, money)
def test_no_whole_quantity_that_will_do_is_cheaper(
    breaks: list[Break], needed: int, lot: Decimal, least: Decimal
) -> None:
    """Every quantity from the needed one to past the last break is tried; between breaks more only costs more."""

    def at(quantity: int) -> Decimal:
        return quantity * next(item.rate for item in reversed(breaks) if item.quantity <= quantity)

    cheapest = min(at(quantity) for quantity in range(needed, 101))
    assert lot_price(quantity=D(needed), breaks=breaks, lot_charge=lot, minimum=least) == max(lot + cheapest, least)


@given(tables(), st.decimals("0.1", 60, places=1), st.decimals(0, 9, places=1))
def test_more_never_costs_less_whatever_the_table_says(breaks: list[Break], quantity: Decimal, more: Decimal) -> None:
    one, other = (
        lot_price(quantity=q, breaks=breaks, lot_charge=D(3), minimum=D(9)) for q in (quantity, quantity + more)
    )
    assert other >= one


@pytest.mark.parametrize(
    ("breaks", "sentence"),
    [
        ([], "The price table is empty. Give the rate from quantity 0 on."),
        (table((1, "2")), "The first price break must begin at 0."),
        (
            table((0, "2"), (50, "1"), (10, "3")),
            "The price breaks are out of order: 10 comes after 50. Put the quantities in rising order.",
        ),
        (
            table((0, "2"), (50, "1"), (50, "3")),
            "The price breaks are out of order: 50 comes after 50. Put the quantities in rising order.",
        ),
        (table((0, "2"), (50, "-1")), "A price break has a negative rate."),
    ],
)
def test_a_price_table_that_cannot_be_read_is_refused(breaks: list[Break], sentence: str) -> None:
    with pytest.raises(BadInput) as caught:
        checked_breaks(breaks, step="zinc")
    assert (caught.value.step, caught.value.field) == ("zinc", "breaks")
    assert caught.value.sentence() == f"zinc: {sentence}"
