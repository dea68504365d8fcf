from decimal import ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.money import (
    HALF_DOWN,
    HALF_UP,
    MINOR_UNITS,
    from_minor,
    instalments,
    places,
    rounded,
    shared_out,
    to_minor,
)

D = Decimal
CASES = 100_000
DIGITS = {"JPY": 0, "EUR": 2, "KWD": 3}


def minor_by_fractions(amount: Fraction, digits: int, rule: str) -> int:
    """Minor units of ``amount`` by whole numbers only: half a unit is added, or half is dropped, then cut."""
    doubled = abs(amount) * 10**digits * 2
    whole = (doubled + 1) // 2 if rule == HALF_UP else -((1 - doubled) // 2)
    return int(whole) * (-1 if amount < 0 else 1)


@pytest.mark.parametrize("rule", [HALF_UP, HALF_DOWN])
def test_quantity_times_rate_is_rounded_as_exact_fractions_say(rule: str) -> None:
    by = Random(f"rounding {rule}")
    for _ in range(CASES // 2):
        digits = by.choice((0, 2, 3))
        quantity, rate = by.randint(-99_999, 99_999), by.choice((by.randint(0, 999_999), by.randint(0, 200) * 500))
        result = rounded(D(quantity) / 1000 * (D(rate) / 10_000), digits=digits, rule=rule)
        assert to_minor(result, digits=digits) == minor_by_fractions(Fraction(quantity * rate, 10**7), digits, rule)


def test_the_cases_meet_exact_halves() -> None:
    """Otherwise the two rules could not be told apart by them."""
    by = Random("halves")
    halves = 0
    for _ in range(CASES // 10):
        amount = Fraction(by.randint(-99_999, 99_999) * by.randint(0, 200) * 500, 10**7)
        halves += minor_by_fractions(amount, 2, HALF_UP) != minor_by_fractions(amount, 2, HALF_DOWN)
    assert halves > 100


@given(st.decimals(-(10**9), 10**9, places=6), st.sampled_from((0, 2, 3, 4)), st.sampled_from((HALF_UP, HALF_DOWN)))
def test_rounding_is_symmetric_in_sign(amount: Decimal, digits: int, rule: str) -> None:
    assert rounded(-amount, digits=digits, rule=rule) == -rounded(amount, digits=digits, rule=rule)


def test_nothing_has_no_sign() -> None:
    assert str(rounded(D("-0.004"), digits=2)) == "0.00"


@pytest.mark.parametrize(("currency", "digits"), DIGITS.items())
def test_a_rounded_amount_has_the_digits_of_its_currency(currency: str, digits: int) -> None:
    assert -rounded(D("1234.56789"), digits=places(currency)).as_tuple().exponent == digits


def test_rounding_does_not_hang_on_the_context_of_the_caller() -> None:
    with localcontext() as context:
        context.prec, context.rounding = 3, "ROUND_FLOOR"
        assert rounded(D("123456.785"), digits=2) == D("123456.79")
        assert to_minor(D("123456.79"), digits=2) == 12_345_679
        assert from_minor(12_345_679, digits=2) == D("123456.79")
        halves = instalments(D("123456.79"), [D(50), D(50)], digits=2)
        shares = shared_out(D("123456.79"), [D(1), D(1)], ["a", "b"], digits=2)
    assert halves == [D("61728.40"), D("61728.39")]
    assert shares == [D("61728.40"), D("61728.39")]


def test_an_unknown_currency_is_refused() -> None:
    with pytest.raises(BadInput, match="'XYZ' is not a currency with minor units in ISO 4217") as caught:
        places("XYZ")
    assert caught.value.field == "currency"


def test_gold_has_no_minor_unit_and_is_refused() -> None:
    with pytest.raises(BadInput):
        places("XAU")


@given(st.integers(-(10**15), 10**15), st.sampled_from(sorted(MINOR_UNITS)))
def test_minor_units_go_there_and_back(count: int, currency: str) -> None:
    digits = places(currency)
    assert to_minor(from_minor(count, digits=digits), digits=digits) == count


def test_an_amount_finer_than_the_currency_is_refused() -> None:
    with pytest.raises(BadInput, match=r"1\.005 has more decimal places than the currency"):
        to_minor(D("1.005"), digits=2)


weights = st.lists(st.decimals(0, 10**6, places=3), min_size=1, max_size=12)


@given(st.integers(-(10**8), 10**8), weights, st.sampled_from((0, 2, 3)))
def test_shares_add_up_and_are_fair_to_less_than_one_unit(minor: int, weights: list[Decimal], digits: int) -> None:
    total = from_minor(minor, digits=digits)
    shares = shared_out(total, weights, list(range(len(weights))), digits=digits)
    assert sum(shares) == total
    whole = sum(map(Fraction, weights))
    for share, weight in zip(shares, weights, strict=True):
        fair = Fraction(minor) * (Fraction(weight) / whole if whole else Fraction(1, len(weights)))
        assert abs(to_minor(share, digits=digits) - fair) < 1
        assert weight or not whole or not share


@given(st.integers(0, 10**6), weights, st.randoms())
def test_shares_do_not_hang_on_the_order_given(minor: int, weights: list[Decimal], by: Random) -> None:
    keys = [f"line {n:02}" for n in range(len(weights))]
    total = from_minor(minor, digits=2)
    straight = dict(zip(keys, shared_out(total, weights, keys, digits=2), strict=True))
    mixed = list(zip(keys, weights, strict=True))
    by.shuffle(mixed)
    again = shared_out(total, [weight for _, weight in mixed], [key for key, _ in mixed], digits=2)
    assert dict(zip([key for key, _ in mixed], again, strict=True)) == straight


def test_a_tie_goes_to_the_smaller_key() -> None:
    assert shared_out(D("0.01"), [D(1), D(1)], ["b", "a"], digits=2) == [D("0.00"), D("0.01")]


def test_a_share_cannot_weigh_less_than_nothing() -> None:
    with pytest.raises(BadInput, match="A share cannot have a negative weight"):
        shared_out(D(1), [D(1), D(-1)], ["a", "b"], digits=2)


def test_nobody_shares_nothing() -> None:
    assert shared_out(D("1.00"), [], [], digits=2) == []


percents = st.lists(st.integers(0, 10_000), min_size=1, max_size=6).filter(any)


@given(st.integers(0, 10**8), percents, st.sampled_from((HALF_UP, HALF_DOWN)), st.sampled_from((0, 2, 3)))
def test_instalments_add_up_and_none_is_negative(minor: int, cuts: list[int], rule: str, digits: int) -> None:
    ends = sorted({*(min(cut, 9_999) for cut in cuts), 10_000})
    shares = [D(end - start) / 100 for start, end in zip([0, *ends], ends, strict=False)]
    total = from_minor(minor, digits=digits)
    amounts = instalments(total, shares, digits=digits, rule=rule)
    assert sum(amounts) == total
    assert min(amounts) >= 0
    for amount, share in zip(amounts, shares, strict=True):
        assert abs(Fraction(amount) - Fraction(total) * Fraction(share) / 100) <= Fraction(1, 10**digits)


def test_instalments_that_do_not_make_a_hundred_are_refused() -> None:
    with pytest.raises(BadInput, match=r"The payment stages add up to 99.9 %. Make them add up to 100 %.") as caught:
        instalments(D(1), [D("99.9")], digits=2)
    assert caught.value.field == "payment stages"


def test_a_negative_instalment_is_refused() -> None:
    with pytest.raises(BadInput, match="A payment stage cannot be negative"):
        instalments(D(1), [D(110), D(-10)], digits=2)


def test_the_default_is_half_up() -> None:
    assert rounded(D("0.125"), digits=2) == D("0.125").quantize(D("0.01"), rounding=ROUND_HALF_UP)
