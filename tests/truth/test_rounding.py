"""Published rules of rounding money and tax, and the minor units of ISO 4217."""

from decimal import ROUND_HALF_UP, Decimal

import pytest
from babel.numbers import get_currency_precision

from quotes.engine.inputs import TaxBy, TaxRate
from quotes.engine.money import HALF_DOWN, HALF_UP, MINOR_UNITS, rounded
from quotes.engine.pricing import taxes

D = Decimal


@pytest.mark.parametrize(("amount", "cents"), [("0.104", "0.10"), ("0.105", "0.11")])
def test_australia_rounds_half_a_cent_up(amount: str, cents: str) -> None:
    """Source: A New Tax System (Goods and Services Tax) Act 1999, section 9-90; figures: support.myhomefone.com.au."""
    assert rounded(D(amount), digits=2, rule=HALF_UP) == D(cents)


def test_australia_taxes_the_whole_invoice_once() -> None:
    """Source: support.myhomefone.com.au: 10 % of 2,132.12 is 213.21 once; line by line that invoice had 213.62."""
    gst = {"gst": TaxRate("gst", "GST", D("0.10"))}
    halves = [("gst", D("1066.05")), ("gst", D("1066.07"))]
    assert taxes(halves, gst, by=TaxBy.DOCUMENT, digits=2, rule=HALF_UP)["gst"] == (D("2132.12"), D("213.21"))
    assert taxes(halves, gst, by=TaxBy.LINE, digits=2, rule=HALF_UP)["gst"][1] == D("213.22")


@pytest.mark.parametrize(
    ("amount", "cents"), [("0.105", "0.10"), ("0.1051", "0.11"), ("0.104", "0.10"), ("-0.105", "-0.10")]
)
def test_new_zealand_drops_half_a_cent(amount: str, cents: str) -> None:
    """Source: Goods and Services Tax Act 1985, section 19O (plainlanguagelaw.ackama.com, DLM81034): half or less is
    dropped, more is rounded up."""
    assert rounded(D(amount), digits=2, rule=HALF_DOWN) == D(cents)


@pytest.mark.parametrize(
    ("amount", "cents"),
    [
        (D("24.784"), "24.78"),
        (D("24.785"), "24.79"),
        (D(500) / D("239.640"), "2.09"),
        (D(1000) / D("239.640"), "4.17"),
    ],
)
def test_the_euro_conversion_rounds_half_up(amount: Decimal, cents: str) -> None:
    """Source: Council Regulation (EC) 1103/97, article 5; figures: evro.si and e-glossa.it."""
    assert rounded(amount, digits=2, rule=HALF_UP) == D(cents)


@pytest.mark.parametrize(("amount", "cents", "binary"), [("1.005", "1.01", 1.0), ("2.675", "2.68", 2.67)])
def test_decimals_do_not_fall_into_the_trap_of_binary_fractions(amount: str, cents: str, binary: float) -> None:
    """The float beside it does: neither 1.005 nor 2.675 is a binary fraction. Computed; no source needed."""
    assert rounded(D(amount), digits=2) == D(cents) == D(amount).quantize(D("0.01"), ROUND_HALF_UP)
    assert round(float(amount), 2) == binary


#: Source: SIX, ISO 4217 table A.1, published 2024-06-25 (github.com/datasets/currency-codes at ab9b0ae).
BY_DIGITS = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    3: "BHD IQD JOD KWD LYD OMR TND",
    4: "CLF UYW",
}


@pytest.mark.parametrize("digits", BY_DIGITS)
def test_the_codes_with_other_than_two_minor_digits(digits: int) -> None:
    assert sorted(code for code, places in MINOR_UNITS.items() if places == digits) == BY_DIGITS[digits].split()


def test_as_many_codes_of_each_kind_as_the_table_has() -> None:
    counts = {digits: list(MINOR_UNITS.values()).count(digits) for digits in (0, 2, 3, 4)}
    assert counts == {0: 17, 2: 140, 3: 7, 4: 2}


def test_every_code_is_three_capital_letters() -> None:
    assert all(len(code) == 3 and code.isalpha() and code.isupper() and code.isascii() for code in MINOR_UNITS)


#: Where CLDR shows no minor digits although ISO 4217 has them, so that Babel cannot be asked for minor units.
SHOWN_WHOLE = {"AFN", "ALL", "IRR", "IQD", "KPW", "LAK", "LBP", "MGA", "MMK", "RSD", "SOS", "SYP", "YER"}


def test_a_second_list_agrees_but_for_what_it_shows_without_minor_units() -> None:
    """Oracle: Babel's copy of CLDR, which is about showing amounts; it differs from ISO 4217 on these thirteen."""
    differs = {code for code, places in MINOR_UNITS.items() if get_currency_precision(code) != places}
    assert differs == SHOWN_WHOLE
    assert all(get_currency_precision(code) == 0 for code in SHOWN_WHOLE)
