from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.inputs import ZERO, TaxBy, TaxRate
from quotes.engine.money import rounded
from quotes.engine.pricing import (
    checked_margin,
    discounts,
    floor_price,
    margin,
    margin_of_markup,
    markup,
    markup_of_margin,
    overhead_rate,
    price_of_cost,
    taxes,
)

D = Decimal
RATES = {"full": TaxRate("full", "VAT", D("0.19")), "none": TaxRate("none", "no VAT", ZERO)}
cents = st.integers(0, 10**7).map(lambda n: D(n) / 100)
shares = st.integers(0, 99).map(lambda n: D(n) / 100)


@given(cents.filter(bool), shares)
def test_a_price_keeps_its_margin(cost: Decimal, share: Decimal) -> None:
    price = price_of_cost(cost, share)
    assert margin(price, cost).quantize(D("1e-15")) == share
    assert markup(price, cost).quantize(D("1e-15")) == markup_of_margin(share).quantize(D("1e-15"))


@given(shares)
def test_margin_and_markup_undo_each_other(share: Decimal) -> None:
    assert margin_of_markup(markup_of_margin(share)).quantize(D("1e-20")) == share


@pytest.mark.parametrize("share", ["1", "1.01"])
def test_a_margin_of_everything_is_refused(share: str) -> None:
    with pytest.raises(BadInput, match=r"leaves no price\. Give less than 100 %") as caught:
        checked_margin(D(share), field="labour_margin")
    assert caught.value.field == "labour_margin"


def test_an_overhead_rate_needs_a_base() -> None:
    with pytest.raises(BadInput, match="The overhead base must be more than 0"):
        overhead_rate(D(100), D(0))


def test_the_floor_is_a_margin_on_expected_cost() -> None:
    assert floor_price(D(90), D("0.1")) == 100


lines = st.lists(cents, min_size=1, max_size=10)


@given(lines, shares)
def test_the_discount_is_rounded_once_and_shared_pro_rata(amounts: list[Decimal], share: Decimal) -> None:
    off = discounts(amounts, [str(n) for n in range(len(amounts))], share, digits=2, rule="half_up")
    assert sum(off) == rounded(sum(amounts, D(0)) * share, digits=2)
    for amount, part in zip(amounts, off, strict=True):
        assert 0 <= part <= amount
        assert abs(Fraction(part) - Fraction(amount) * Fraction(share)) <= Fraction(2, 100)


@pytest.mark.parametrize(("by", "tax"), [(TaxBy.LINE, "0.03"), (TaxBy.DOCUMENT, "0.02")])
def test_three_small_lines_show_where_tax_is_rounded(by: TaxBy, tax: str) -> None:
    """3 × .03 × 19 % is .0171; each line alone is .0057 and rounds to .01."""
    nets = [("full", D("0.03"))] * 3
    assert taxes(nets, RATES, by=by, digits=2, rule="half_up") == {"full": (D("0.09"), D(tax))}


def test_each_rate_is_taxed_by_itself() -> None:
    nets = [("full", D(100)), ("none", D(50)), ("full", D(1))]
    assert taxes(nets, RATES, by=TaxBy.DOCUMENT, digits=2, rule="half_up") == {
        "full": (D(101), D("19.19")),
        "none": (D(50), D("0.00")),
    }


def test_tax_is_rounded_half_down_where_the_country_says_so() -> None:
    nets, rates = [("gst", D("0.50"))], {"gst": TaxRate("gst", "GST", D("0.15"))}
    assert taxes(nets, rates, by=TaxBy.LINE, digits=2, rule="half_down")["gst"][1] == D("0.07")
    assert taxes(nets, rates, by=TaxBy.LINE, digits=2, rule="half_up")["gst"][1] == D("0.08")


@given(lines, st.sampled_from(TaxBy))
def test_splitting_a_document_moves_tax_by_less_than_a_unit_for_each_rounding(nets: list[Decimal], by: TaxBy) -> None:
    half = len(nets) // 2
    whole, first, second = (
        taxes([("full", net) for net in some], RATES, by=by, digits=2, rule="half_up").get("full", (ZERO, ZERO))
        for some in (nets, nets[:half], nets[half:])
    )
    assert first[0] + second[0] == whole[0]
    assert abs(first[1] + second[1] - whole[1]) <= (D("0.01") if by is TaxBy.DOCUMENT else 0)
