"""The page of five questions."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client

from shop import currency
from shop.people.models import Shop
from shop.rates.models import PricePolicy, TaxRate

PAGE = "/workshop/set-up/"
ANSWERS = {
    "name": "Moorend Cycle Works",
    "country": "AT",
    "currency": "-",
    "tax": "20",
    "hands": "2",
    "hours_0": "8:00-12:00, 13:00-17:00",
    "hours_1": "8-12",
}
GOOD = ANSWERS | {"hours_1": "8:00-12:00"}

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def nobody_said_a_currency(settings: Any) -> Iterator[None]:
    settings.CURRENCY = ""
    currency.forget()
    yield
    currency.forget()


def test_it_is_answered_once_and_then_a_price_can_be_made(manager: Client) -> None:
    answer = manager.post(PAGE, GOOD, follow=True)
    assert "Every price is still a guess" in answer.content.decode()
    assert "Begin the first restoration" in answer.content.decode()
    assert (Shop.objects.get().currency, Shop.objects.get().country) == ("EUR", "AT")
    assert TaxRate.objects.get().percent == 20
    assert manager.get(PAGE)["Location"] == "/workshop/"
    manager.post(PAGE, GOOD)
    assert PricePolicy.objects.count() == 1


def test_a_wrong_answer_is_told_at_its_field_and_nothing_typed_is_lost(manager: Client) -> None:
    answer = manager.post(PAGE, ANSWERS)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "“8-12” is no span of hours" in page
    assert 'value="Moorend Cycle Works"' in page
    assert not Shop.objects.exists()


# Source: ISO 3166 and ISO 4217 as in CLDR: two currencies are legal tender in Panama, one in Japan.
@pytest.mark.parametrize(("country", "code"), [("JP", "JPY"), ("GB", "GBP"), ("PA", None), ("-", None)])
def test_the_currency_follows_the_country_or_is_asked_for(manager: Client, country: str, code: str | None) -> None:
    answer = manager.post(PAGE, GOOD | {"country": country})
    if code is None:
        assert "Choose the currency" in answer.content.decode()
        assert not Shop.objects.exists()
    else:
        assert Shop.objects.get().currency == code
        assert currency.code() == code


def test_a_currency_that_is_fixed_is_the_only_choice(manager: Client, settings: Any) -> None:
    settings.CURRENCY = "CHF"
    page = manager.get(PAGE).content.decode()
    assert 'value="CHF"' in page
    assert 'value="EUR"' not in page


def test_it_is_the_managers_page(front_desk: Client, mechanic: Client) -> None:
    assert [client.get(PAGE).status_code for client in (front_desk, mechanic)] == [403, 403]
