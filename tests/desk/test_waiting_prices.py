"""What waits about prices on the first page: searches that go on for long, and prices of open drafts that ran out."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from quotes.desk.waiting_prices import run_out, searching
from quotes.engine.inputs import Break
from quotes.pricing.models import Draft
from shop.people.roles import ROLE_DESK
from shop.rates.services import note_consumable_price, note_service_price
from shop.restorations.models import Restoration
from shop.routes.models import Source, Step
from shop.routes.services import add_step
from tests.desk import rows
from tests.desk.test_editor import person
from tests.workshop import SINCE, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate()


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    made = restoration()
    frame(made, shop)
    Draft.objects.create(restoration=made, priced_on=TODAY)
    return made


def buy(bike: Restoration, **more: Any) -> Step:
    given = {"buy": "Horn", "buy_source": Source.NEW_OLD_STOCK, "buy_price_minor": 100} | more
    return add_step(part=bike.parts.first(), origin=Step.Origin.BEFORE, **given, **WHO)


@pytest.mark.parametrize(("days", "listed"), [(56, False), (57, True)])
def test_a_search_of_more_than_eight_weeks_is_asked_about(bike: Restoration, days: int, *, listed: bool) -> None:
    step = buy(bike, buy_searching_since=TODAY - timedelta(days=days))
    found = searching(TODAY).rows
    assert [row.address for row in found] == ([reverse("desk:step", args=[step.uid])] if listed else [])


def test_a_search_is_over_with_its_part_or_when_the_customer_declined(bike: Restoration) -> None:
    step = buy(bike, buy_searching_since=TODAY - timedelta(days=100))
    assert searching(TODAY).rows[0].tag == "14 weeks so far."
    rows.quote(bike, until=TODAY, outcome="declined")
    assert not searching(TODAY).rows
    other = restoration("Another")
    other.parts.add(step.part)
    assert searching(TODAY).rows
    step.part.removed_at = timezone.now()
    step.part.save()
    assert not searching(TODAY).rows


def test_prices_that_ran_out_are_counted_once_each_on_open_drafts(shop: Workshop, bike: Restoration) -> None:
    """A purchase, a service used by two parts, and a consumable."""
    past = TODAY - timedelta(days=1)
    buy(bike, buy_valid_until=past)
    buy(bike, buy="Bush", buy_valid_until=TODAY)
    for name in ("Stays", "Rack"):
        frame(bike, shop, name=name, finish=shop.zinc)
    assert [row.text for row in run_out(TODAY).rows] == ["1 price has run out"]
    terms = {"service": shop.plate, "valid_from": SINCE, "handling_grade": shop.grade, "valid_until": past}
    note_service_price(breaks=[Break(Decimal(0), Decimal(8))], **terms, **WHO)
    pack = {"pack_size": Decimal(1), "pack_price": Decimal(40), "valid_until": past}
    note_consumable_price(consumable=shop.paint, valid_from=SINCE, **pack, **WHO)
    (row,) = run_out(TODAY).rows
    assert (row.text, row.address) == ("3 prices have run out", reverse("desk:prices", args=[bike.uid]))
    rows.quote(bike, until=TODAY)
    assert not run_out(TODAY).rows, "it is out: nothing is asked again for it"


def test_a_newer_price_helps_only_the_drafts_that_are_priced_with_it(shop: Workshop, bike: Restoration) -> None:
    past = TODAY - timedelta(days=1)
    pack = {"consumable": shop.paint, "pack_size": Decimal(1), "pack_price": Decimal(40)}
    note_consumable_price(valid_from=SINCE, valid_until=past, **pack, **WHO)
    note_consumable_price(valid_from=TODAY, **pack, **WHO)
    assert not run_out(TODAY).rows
    Draft.objects.update(priced_on=past)
    assert len(run_out(TODAY).rows) == 1


def test_the_lists_ask_as_much_for_one_as_for_many(
    bike: Restoration, shop: Workshop, django_assert_num_queries: Any
) -> None:
    past = TODAY - timedelta(days=100)
    for count in (1, 5):
        while Restoration.objects.count() < count:
            other = restoration("Another")
            frame(other, shop)
            Draft.objects.create(restoration=other, priced_on=TODAY)
        for one in Restoration.objects.all():
            buy(one, buy_valid_until=past, buy_searching_since=past)
        with django_assert_num_queries(1):
            assert all(row.restoration.customer.name for row in searching(TODAY).rows)
        with django_assert_num_queries(5):
            assert len([row.restoration.customer.name for row in run_out(TODAY).rows]) == count


def test_whoever_issues_is_told_which_prices_do_not_hold_and_where_to_note_better_ones(client, bike) -> None:
    client.force_login(person(ROLE_DESK))
    address = reverse("desk:issue", args=[bike.uid])
    assert "do not hold as long" not in client.get(address).content.decode()
    buy(bike, buy_status="seen", buy_valid_until=TODAY - timedelta(days=1))
    html = client.get(address).content.decode()
    assert "Prices that do not hold as long as this quote" in html
    assert "Horn (Frame): validity has run out" in html
    assert reverse("desk:prices", args=[bike.uid]) in html
