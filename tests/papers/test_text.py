"""Expected figures in other languages: Unicode CLDR 48 number patterns as published; English ones by hand."""

from decimal import Decimal

import pytest
from django.template import Context, Template, TemplateSyntaxError
from django.utils.translation import override

from shop import text

S = "\N{NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("language", "amount", "currency", "shown"),
    [
        ("en-gb", "1234.50", "EUR", "€1,234.50"),
        ("en-gb", "0.10", "GBP", "£0.10"),
        ("en-gb", "-0.50", "GBP", "-£0.50"),
        ("en-gb", "1234", "JPY", "JP¥1,234"),
        ("de", "1234.50", "EUR", f"1.234,50{S}€"),
        ("de", "1.234", "KWD", f"1,234{S}KWD"),
        ("fr", "-1234567.89", "EUR", f"-1\N{NARROW NO-BREAK SPACE}234\N{NARROW NO-BREAK SPACE}567,89{S}€"),
        ("en-gb", "90071992547409.93", "EUR", "€90,071,992,547,409.93"),  # a binary float of it ends in .94
    ],
)
def test_money_reads_as_the_page_language_writes_it(language: str, amount: str, currency: str, shown: str) -> None:
    with override(language):
        assert text.money(Decimal(amount), currency) == shown


def test_money_that_nobody_rounded_is_refused_rather_than_shown_rounded() -> None:
    with pytest.raises(ValueError, match="not rounded"):
        text.money(Decimal("2.665"), "EUR")


@pytest.mark.parametrize("wrong", [1.5, "1.50", None, True])
def test_no_figure_is_made_from_anything_but_exact_numbers(wrong: object) -> None:
    for show in (text.minutes, text.quantity, text.percent):
        with pytest.raises(TypeError, match="A figure is a Decimal"):
            show(wrong)  # type: ignore[arg-type]
    with pytest.raises(TypeError):
        text.money(wrong, "EUR")  # type: ignore[arg-type]


@pytest.mark.parametrize("wrong", ["NaN", "Infinity"])
def test_what_is_no_number_is_refused(wrong: str) -> None:
    with pytest.raises(ValueError, match="is not a figure"):
        text.money(Decimal(wrong), "EUR")


@pytest.mark.parametrize(
    ("amount", "shown"), [("12.3456", "€12.3456"), ("12.30", "€12.30"), ("0.0425", "€0.0425"), ("0.04255", "€0.0426")]
)
def test_a_rate_keeps_up_to_four_decimals(amount: str, shown: str) -> None:
    with override("en-gb"):
        assert text.rate(Decimal(amount), "EUR") == shown


@pytest.mark.parametrize(
    ("count", "shown"),
    [
        (0, f"0{S}min"),
        (59, f"59{S}min"),
        (60, f"1{S}h"),
        (135, f"2{S}h{S}15{S}min"),
        (Decimal("59.5"), f"1{S}h"),
        (Decimal("0.4"), f"under{S}1{S}min"),
        (-61, f"−1{S}h{S}1{S}min"),
        (6000, f"100{S}h"),
    ],
)
def test_minutes_read_as_hours_and_minutes(count: Decimal | int, shown: str) -> None:
    assert text.minutes(count) == shown


@pytest.mark.parametrize(
    ("amount", "unit", "shown"),
    [("12.500", "dm²", f"12.5{S}dm²"), ("100", "", "100"), ("1E+3", "kg", f"1,000{S}kg"), ("0.125", "l", f"0.125{S}l")],
)
def test_a_quantity_has_no_idle_zeros_and_keeps_its_unit(amount: str, unit: str, shown: str) -> None:
    with override("en-gb"):
        assert text.quantity(Decimal(amount), unit) == shown


@pytest.mark.parametrize(
    ("fraction", "shown"), [("0.125", "12.5%"), ("0.2", "20%"), ("0.12345", "12.35%"), ("-0.03", "-3%")]
)
def test_a_share_reads_as_percent(fraction: str, shown: str) -> None:
    with override("en-gb"):
        assert text.percent(Decimal(fraction)) == shown


def test_an_unknown_language_still_gets_readable_figures() -> None:
    with override("tlh"):
        assert text.money(Decimal("1234.50"), "EUR") == "€1,234.50"


def render(source: str, **context: object) -> str:
    return Template("{% load shop_text %}" + source).render(Context(context))


def test_templates_show_figures_by_filters() -> None:
    with override("en-gb"):
        shown = render(
            "{{ a|money }} {{ a|money:'GBP' }} {{ b|rate }} {{ c|minutes }} {{ b|quantity:'kg' }} {{ b|percent }}",
            a=Decimal("9.90"),
            b=Decimal("0.0425"),
            c=75,
        )
    assert shown == f"€9.90 £9.90 €0.0425 1{S}h{S}15{S}min 0.0425{S}kg 4.25%"


@pytest.mark.parametrize("wrong", [9.9, 9, "9.90"])
def test_the_money_filter_takes_nothing_but_a_decimal(wrong: object) -> None:
    for name in ("money", "rate"):
        with pytest.raises(TypeError, match="Money is a Decimal"):
            render("{{ amount|" + name + " }}", amount=wrong)


def test_a_wrong_filter_name_is_an_error() -> None:
    with pytest.raises(TemplateSyntaxError):
        render("{{ amount|cash }}")


def test_a_figure_is_written_as_it_stands_whatever_equal_one_was_written_before():
    """As decimals, zero and minus zero are equal, and so are a whole number and one with a nought behind the mark."""
    for first, then in [("0", "-0"), ("-0", "0"), ("1", "1.0")]:
        text._written.cache_clear()
        text._priced.cache_clear()
        alone = text.quantity(Decimal(then)), text.rate(Decimal(then), "EUR")
        text._written.cache_clear()
        text._priced.cache_clear()
        text.quantity(Decimal(first)), text.rate(Decimal(first), "EUR")
        assert (text.quantity(Decimal(then)), text.rate(Decimal(then), "EUR")) == alone


def test_each_language_keeps_its_own_way_of_writing_the_same_figure():
    written = []
    for language in ("en-gb", "de", "en-gb"):
        with override(language):
            written.append(
                (text.money(Decimal("1234.50"), "EUR"), text.quantity(Decimal("0.5")), text.percent(Decimal("0.125")))
            )
    assert written[0] == written[2] != written[1]
