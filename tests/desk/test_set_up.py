"""The page of five questions."""

from collections.abc import Iterator
from datetime import time
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from quotes.desk.views.times import country_names
from shop import currency
from shop.people.models import Grade, Shop, ShopHours
from shop.rates.models import PricePolicy, TaxRate
from shop.rates.services import note_grade_rate

PAGE = "/workshop/set-up/"
WHOLE = ("labour", "pricing", "chances", "taxes")
ANSWERS = {
    "name": "Moorend Cycle Works",
    "country": "AT",
    "currency": "-",
    "tax": "20",
    "hands": "2",
    "price_by": "margin",
    "hours_0": "8:00-12:00, 13:00-17:00",
    "hours_1": "8 to 12",
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
    assert "is still a guess of ours" in answer.content.decode()
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
    assert "“8 to 12” is no span of hours" in page
    assert 'value="Moorend Cycle Works"' in page
    assert not Shop.objects.exists()


def test_tax_and_hours_are_understood_as_people_type_them(manager: Client) -> None:
    manager.post(PAGE, GOOD | {"tax": "20 %", "hours_1": "8-12, 13-16.30"})
    assert TaxRate.objects.get().percent == 20
    said = ShopHours.objects.filter(weekday=1).values_list("opens", "closes")
    assert list(said) == [(time(8), time(12)), (time(13), time(16, 30))]


def test_how_labour_is_sold_is_asked_with_cost_and_margin_to_begin_with(manager: Client) -> None:
    assert manager.get(PAGE).context["form"]["price_by"].value() == "margin"
    manager.post(PAGE, GOOD | {"price_by": "charge_out"})
    assert PricePolicy.objects.get().price_by == "charge_out"


def test_the_rate_book_says_what_is_a_guess_of_ours_until_it_is_noted(manager: Client) -> None:
    manager.post(PAGE, GOOD)
    book = manager.get("/rates/").content.decode()
    tags = {slug: book.split(f'id="kind-{slug}"')[1].split("</section>")[0].count("our guess") for slug in WHOLE}
    assert tags == {"labour": 4, "pricing": 1, "chances": 1, "taxes": 0}  # the tax they typed themselves
    assert "noted by starter set" in book
    assert "is a guess of ours" in manager.get("/rates/pricing/shop/").content.decode()
    grade = Grade.objects.get(name="Mechanic")
    note_grade_rate(
        grade=grade,
        valid_from=timezone.localdate(),
        cost_rate=Decimal(25),
        charge_rate=Decimal(70),
        who="eve",
        now=timezone.now(),
    )
    book = manager.get("/rates/").content.decode()
    assert book.split('id="kind-labour"')[1].split("</section>")[0].count("our guess") == 3
    assert "is a guess of ours" not in manager.get(f"/rates/labour/{grade.uid}/").content.decode()


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


def test_the_country_is_asked_and_never_taken_for_granted(manager: Client) -> None:
    """Nothing is chosen to begin with, and going on without a choice is told at the list; being elsewhere is a choice, the last."""
    box = manager.get(PAGE).context["form"]["country"]
    assert not box.value()
    assert [value for value, _words in box.field.choices][:: len(box.field.choices) - 1] == ["", "-"]
    answer = manager.post(PAGE, GOOD | {"country": ""})
    assert answer.status_code == 422
    assert answer.context["form"].errors.keys() >= {"country"}


def test_a_currency_that_is_fixed_is_the_only_choice(manager: Client, settings: Any) -> None:
    settings.CURRENCY = "CHF"
    page = manager.get(PAGE).content.decode()
    assert 'value="CHF"' in page
    assert 'value="EUR"' not in page


def test_it_is_the_managers_page(front_desk: Client, mechanic: Client) -> None:
    assert [client.get(PAGE).status_code for client in (front_desk, mechanic)] == [403, 403]


def test_countries_stand_where_their_plain_letters_do() -> None:
    names = [name for _code, name in country_names()]
    assert names.index("Albania") - 1 == names.index("Åland Islands")
    assert names.index("Réunion") < names.index("Romania") < names.index("Rwanda")
