from decimal import Decimal

import pytest
from django.utils import translation

from shop.papers.pictures import sums


@pytest.mark.parametrize(
    ("amount", "said"),
    [("12640.49", "£12,640"), ("12640.50", "£12,641"), ("99.99", "£99.99"), ("-1250.4", "-£1,250"), ("0", "£0.00")],
)
def test_a_sketch_gives_whole_pounds_and_pence_only_where_they_matter(amount: str, said: str) -> None:
    with translation.override("en-gb"):
        assert sums.money(Decimal(amount), "GBP") == said


def test_a_sum_is_written_as_the_reader_s_language_writes_it() -> None:
    with translation.override("de"):
        # Source: Unicode CLDR, German: point between thousands, the sign behind (by way of babel).
        assert sums.money(Decimal("12640"), "EUR") == "12.640\N{NO-BREAK SPACE}€"


def test_a_currency_without_minor_units_has_none_on_a_sketch_either() -> None:
    # Source: ISO 4217, the yen has no minor unit.
    with translation.override("en-gb"):
        assert "." not in sums.money(Decimal("50.4"), "JPY")


@pytest.mark.parametrize(("count", "said"), [("1", "1 day"), ("0", "0 days"), ("12.4", "12 days"), ("-3", "−3 days")])
def test_days_are_whole(count: str, said: str) -> None:
    assert sums.said(Decimal(count), sums.DAYS) == said


@pytest.mark.parametrize(("count", "said"), [("5", "5 days later"), ("-1", "1 day sooner"), ("0.2", "as planned")])
def test_days_off_the_plan_are_sooner_or_later(count: str, said: str) -> None:
    assert sums.said(Decimal(count), sums.DAYS_OFF) == said
