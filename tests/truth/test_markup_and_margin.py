"""Published pairs of markup and margin."""

from decimal import Decimal
from fractions import Fraction

import pytest

from quotes.engine.pricing import margin, margin_of_markup, markup, markup_of_margin, price_of_cost

D = Decimal


def test_a_markup_of_a_half_is_a_margin_of_a_third() -> None:
    """Source: calcreal.com, markup calculator: cost 40, markup 50 %, price 60, margin 33.33 %."""
    share = margin_of_markup(D("0.5"))
    assert share.quantize(D("0.0001")) == D("0.3333")
    assert price_of_cost(D(40), share).quantize(D("0.01")) == 60
    assert markup(D(60), D(40)) == D("0.5")


def test_markup_and_margin_of_the_same_price() -> None:
    """Source: instudier.com, question 22902450: cost 100, price 125, markup 25 %. The margin of 20 % is computed."""
    assert markup(D(125), D(100)) == D("0.25")
    assert margin(D(125), D(100)) == D("0.20")
    assert price_of_cost(D(100), D("0.20")) == 125


@pytest.mark.parametrize(("cost", "price"), [(10, "13.00"), (12, "15.60")])
def test_the_same_markup_on_variable_and_on_full_cost(cost: int, price: str) -> None:
    """Source: OpenStax, *Managerial Accounting*, section 9.4: 10 variable, 12 full, 30 % on either."""
    assert price_of_cost(D(cost), margin_of_markup(D("0.30"))).quantize(D("0.01")) == D(price)


@pytest.mark.parametrize(
    ("added", "kept"), [("1/10", "1/11"), ("1/5", "1/6"), ("1/4", "1/5"), ("1/3", "1/4"), ("1/2", "1/3"), ("1", "1/2")]
)
def test_the_table_of_common_markups(added: str, kept: str) -> None:
    """The two formulas, k / (1 + k) and m / (1 − m), are on brainscape.com, cards 21117928; the table is computed."""
    exact_added, exact_kept = Fraction(added), Fraction(kept)
    assert exact_added / (1 + exact_added) == exact_kept

    def decimal(number: Fraction) -> Decimal:
        return D(number.numerator) / number.denominator

    assert abs(margin_of_markup(decimal(exact_added)) - decimal(exact_kept)) < D("1e-26")
    assert abs(markup_of_margin(decimal(exact_kept)) - decimal(exact_added)) < D("1e-26")
