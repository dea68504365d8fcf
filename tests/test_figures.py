"""Figures read back as people write them. The ways of writing are those of the locale data that our pages print with."""

from decimal import Decimal

import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from quotes.desk.forms import Number
from quotes.engine.money import places
from shop.figures import NotAFigureError, TwoWaysError, read
from shop.text import money

D = Decimal
LANGUAGES = ["en-gb", "en-in", "de", "de-at", "de-ch", "fr", "fr-ch", "es", "it", "nl", "sv", "pl", "pt", "cs", "ja"]


@given(
    minor=st.integers(min_value=-(10**11), max_value=10**11),
    language=st.sampled_from(LANGUAGES),
    currency=st.sampled_from(["EUR", "GBP", "CHF", "JPY", "SEK", "KWD", "INR"]),
)
def test_what_a_page_prints_is_read_back_as_what_it_was(minor: int, language: str, currency: str) -> None:
    amount = D(minor).scaleb(-places(currency))
    with translation.override(language):
        shown = money(amount, currency)
    assert read(shown, language=translation.to_locale(language), currency=currency) == amount


READ = [
    ("5,327.95", "5327.95"),
    ("5.327,95", "5327.95"),
    ("€5,327.95", "5327.95"),
    ("5 327,95", "5327.95"),
    ("5\N{NO-BREAK SPACE}327.95 €", "5327.95"),
    ("5\N{THIN SPACE}327.95", "5327.95"),
    ("5\N{NARROW NO-BREAK SPACE}327,95", "5327.95"),
    ("5'327.95", "5327.95"),
    ("EUR 12", "12"),
    ("12,5", "12.5"),
    ("0,125", "0.125"),
    ("12.5", "12.5"),
    (".5", "0.5"),
    ("1,234", "1234"),
    ("1,234,567", "1234567"),
    ("12,34,567.50", "1234567.5"),
    ("1.234", "1.234"),
    ("1.234.567", "1234567"),
    ("−20.00", "-20"),
]


@pytest.mark.parametrize(("typed", "meant"), READ)
def test_a_british_page_reads(typed: str, meant: str) -> None:
    assert read(typed, language="en_GB", currency="EUR") == D(meant)


def test_one_mark_with_three_digits_after_it_is_what_the_language_uses_it_for() -> None:
    assert read("1,234", language="de") == D("1.234")
    assert read("1.234", language="de") == D(1234)
    assert read("1,234", language="fr") == D("1.234")


@pytest.mark.parametrize(("typed", "language"), [("1,234", "de_CH"), ("1.234", "fr")])
def test_what_stays_ambiguous_is_refused_with_both_ways(typed: str, language: str) -> None:
    with pytest.raises(TwoWaysError) as caught:
        read(typed, language=language)
    assert caught.value.large == "1234"


@pytest.mark.parametrize(
    "typed", ["", "ten", "1,23,4", "1.2.3", "1,2,3.5", "5 32", "€", "1.234,567.8", "--3", "1 234 5"]
)
def test_what_is_no_figure_is_refused(typed: str) -> None:
    with pytest.raises(NotAFigureError):
        read(typed, language="en_GB", currency="EUR")


@pytest.mark.django_db
def test_a_box_says_both_ways_where_it_could_be_either() -> None:
    with translation.override("de-ch"), pytest.raises(Exception, match=r"two ways\. Write 1\.234 or 1234"):
        Number().clean("1,234")
    with translation.override("en-gb"):
        assert Number().clean("€5,327.95") == D("5327.95")
