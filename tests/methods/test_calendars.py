"""When vendors work: their weekdays, and the holidays of their own country or of the shop's."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine.calendars import WorkingTime, day_of
from quotes.engine.errors import BadInput
from shop.methods.calendars import WHOLE_DAY, vendor_calendars
from shop.methods.models import Vendor, VendorClosure
from shop.people.models import Shop

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 3, 2)


@pytest.fixture
def shop() -> Shop:
    return Shop.objects.create(name="Hollow Lane Works", country="GB", subdivision="ENG")


def closed(vendor: Vendor, shop: Shop | None, first: date = MONDAY) -> set[str]:
    (made,) = vendor_calendars([vendor.pk], shop=shop, first=first)
    return set(made.closed)


def test_a_vendor_that_names_no_country_keeps_the_shops_holidays(shop: Shop) -> None:
    """Source: SOURCES 13: 28 August 2023 is a bank holiday in England; 3 October is Germany's day (values from memory)."""
    days = closed(Vendor.objects.create(name="Brook Platers"), shop, date(2023, 3, 6))
    assert "2023-08-28" in days
    assert "2023-10-03" not in days


def test_a_vendor_abroad_keeps_its_own_holidays_and_not_the_shops(shop: Shop) -> None:
    """Source: as above; Epiphany is a holiday of Baden-Württemberg and not of all Germany (values from memory)."""
    abroad = Vendor.objects.create(name="Steinbach", country="DE")
    days = closed(abroad, shop, date(2023, 3, 6))
    assert "2023-10-03" in days
    assert not {"2023-08-28", "2024-01-06"} & days
    abroad.subdivision = "BW"
    abroad.save()
    assert "2024-01-06" in closed(abroad, shop, date(2023, 3, 6))


def test_a_vendors_own_country_does_not_take_the_region_of_the_shop(shop: Shop) -> None:
    (made,) = vendor_calendars([Vendor.objects.create(name="Roux", country="FR").pk], shop=shop, first=MONDAY)
    assert "2026-07-14" in made.closed
    assert made.known_until == "2029-12-31"


@pytest.mark.parametrize("there", [True, False])
def test_where_nobody_names_a_country_no_holidays_are_kept(shop: Shop, there: bool) -> None:
    shop.country = ""
    (made,) = vendor_calendars(
        [Vendor.objects.create(name="Brook Platers").pk], shop=shop if there else None, first=MONDAY
    )
    assert (made.closed, made.known_until) == ((), "")


def test_a_vendor_works_whole_days_on_the_weekdays_it_names_once_each(shop: Shop) -> None:
    vendor = Vendor.objects.create(name="Brook Platers", works_on="6422")
    (made,) = vendor_calendars([vendor.pk], shop=shop, first=MONDAY)
    assert made.hours == ((1, *WHOLE_DAY), (3, *WHOLE_DAY), (5, *WHOLE_DAY))
    assert (made.key, made.name) == (str(vendor.uid), "Brook Platers")


def test_a_vendor_without_a_weekday_is_named_in_what_is_wrong(shop: Shop) -> None:
    vendor = Vendor.objects.create(name="Brook Platers", works_on="")
    (made,) = vendor_calendars([vendor.pk], shop=shop, first=MONDAY)
    with pytest.raises(BadInput) as caught:
        WorkingTime(made, day_of(MONDAY.isoformat()))
    assert caught.value.sentence() == "Brook Platers has no working day. Give it hours on one day at least."


def test_a_country_nobody_knows_is_told(shop: Shop) -> None:
    vendor = Vendor.objects.create(name="Brook Platers", country="ZZ")
    with pytest.raises(BadInput, match="no holidays known for “ZZ”"):
        vendor_calendars([vendor.pk], shop=shop, first=MONDAY)


def test_a_vendors_closures_are_its_own_and_those_that_have_ended_are_forgotten() -> None:
    one, other = (Vendor.objects.create(name=name) for name in ("Brook Platers", "Mill Chrome"))
    VendorClosure.objects.create(vendor=one, first=date(2026, 8, 3), last=date(2026, 8, 4))
    VendorClosure.objects.create(vendor=one, first=date(2026, 2, 2), last=MONDAY - timedelta(days=1))
    VendorClosure.objects.create(vendor=other, first=MONDAY, last=MONDAY)
    assert closed(one, None) == {"2026-08-03", "2026-08-04"}
    assert closed(other, None) == {"2026-03-02"}


def test_it_takes_two_queries_for_any_number_of_vendors_and_they_come_in_one_order(shop: Shop) -> None:
    vendors = [Vendor.objects.create(name=f"Vendor {number}") for number in range(12)]
    for vendor in vendors:
        VendorClosure.objects.create(vendor=vendor, first=MONDAY, last=MONDAY)
    with CaptureQueriesContext(connection) as caught:
        made = vendor_calendars([vendor.pk for vendor in vendors], shop=shop, first=MONDAY)
    assert len(caught) == 2
    assert [item.key for item in made] == sorted(str(vendor.uid) for vendor in vendors)
