"""A price of the rate book said anew: the rest of it stays, and nobody's newer price is lost."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from shop.rates.anew import Said, note_consumable_anew, note_service_anew
from shop.rates.models import ConsumablePrice, ServicePrice
from tests.workshop import TODAY, WHO, workshop

pytestmark = pytest.mark.django_db
SAID = Said("phoned", "Mira at the platers", TODAY + timedelta(days=60))


def test_a_pack_is_noted_anew_with_who_said_so_and_until_when() -> None:
    workshop()
    row = note_consumable_anew(
        price=ConsumablePrice.objects.get(), said=SAID, pack_price=Decimal(44), today=TODAY, **WHO
    )
    assert (row.pack_price_minor, row.pack_size, row.valid_from) == (4400, 1, TODAY)
    assert (row.status, row.said_by, row.valid_until) == ("phoned", SAID.by, SAID.valid_until)
    assert ConsumablePrice.objects.count() == 2


def test_a_service_keeps_its_breaks_and_what_else_was_not_said() -> None:
    workshop()
    before = ServicePrice.objects.get()
    row = note_service_anew(price=before, said=SAID, rates=[Decimal(9), Decimal("6.5")], today=TODAY, **WHO)
    assert [(item.quantity, item.rate_e4) for item in row.breaks.order_by("quantity")] == [(0, 90000), (10, 65000)]
    assert (row.minimum_minor, row.handling_grade) == (before.minimum_minor, before.handling_grade)
    assert row.said_by == SAID.by


def test_confirmed_as_it_stands_only_what_was_said_of_it_changes() -> None:
    workshop()
    old = ServicePrice.objects.get()
    row = note_service_anew(price=old, said=SAID, today=TODAY, **WHO)
    assert list(row.breaks.values_list("quantity", "rate_e4")) == list(old.breaks.values_list("quantity", "rate_e4"))


def test_a_price_that_a_newer_one_overtook_is_not_noted_over_it() -> None:
    workshop()
    old = ConsumablePrice.objects.get()
    note_consumable_anew(price=old, said=SAID, pack_price=Decimal(44), today=TODAY, **WHO)
    with pytest.raises(ValidationError, match="Another price was noted meanwhile"):
        note_consumable_anew(price=old, said=SAID, pack_price=Decimal(50), today=TODAY, **WHO)
    service = ServicePrice.objects.get()
    note_service_anew(price=service, said=SAID, today=TODAY, **WHO)
    with pytest.raises(ValidationError, match="Another price was noted meanwhile"):
        note_service_anew(price=service, said=SAID, today=TODAY, **WHO)


def test_it_cannot_be_over_before_it_begins() -> None:
    workshop()
    past = Said("seen", "a letter", date(2026, 1, 1))
    with pytest.raises(ValidationError) as caught:
        note_consumable_anew(price=ConsumablePrice.objects.get(), said=past, today=TODAY, **WHO)
    assert list(caught.value.message_dict) == ["valid_until"]
