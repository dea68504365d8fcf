"""When the workshop and its vendors work: said by the manager, kept whole or not at all, and every ready day follows."""

from datetime import date, time

import pytest
from django.urls import reverse

from shop.journal.models import Entry
from shop.methods.models import Vendor, VendorClosure
from shop.people.calendars import shop_calendar
from shop.people.models import Closure, Shop, ShopHours

pytestmark = pytest.mark.django_db

WEEK = {f"hours_{day}": "8:00-12:00, 13:00-16.30" for day in range(4)} | {
    "hours_4": "08:00-13:00",
    "hours_5": "",
    "hours_6": "",
}
SAID = {"country": "GB", "subdivision": "eng", "hands": "3", "productive": "65"} | WEEK


def times(client, **changes):
    return client.post(reverse("desk:times"), SAID | changes)


def test_what_is_said_is_kept_and_shown_again(manager):
    assert times(manager).status_code == 302
    shop = Shop.objects.get()
    assert (shop.country, shop.subdivision, shop.hands, shop.productive) == ("GB", "ENG", 3, 65)
    assert ShopHours.objects.filter(weekday=0).values_list("opens", "closes").last() == (time(13), time(16, 30))
    assert ShopHours.objects.count() == 9
    page = manager.get(reverse("desk:times")).content.decode()
    assert "08:00-12:00, 13:00-16:30" in page
    assert Entry.objects.filter(what="working times set").exists()


def test_the_country_is_chosen_by_its_name(manager):
    page = manager.get(reverse("desk:times")).content.decode()
    assert '<option value="AT">Austria</option>' in page
    answer = times(manager, country="QQ")
    assert "Choose one from the list." in answer.content.decode()
    assert not ShopHours.objects.exists()


def test_whole_hours_need_no_minutes(manager):
    times(manager, hours_5="8-12; 13–15")
    assert list(ShopHours.objects.filter(weekday=5).values_list("opens", "closes")) == [
        (time(8), time(12)),
        (time(13), time(15)),
    ]


def test_the_calendar_of_the_ready_day_follows(manager):
    times(manager)
    found = shop_calendar(shop=Shop.objects.get(), first=date(2026, 3, 2))
    assert (4, 480, 780) in found.hours
    assert "2026-12-25" in found.closed  # Christmas Day, a bank holiday in England (gov.uk list, SOURCES 13)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"hours_0": "8 to 12"}, "Write it like 8:00-12:00"),
        ({"hours_0": "25:00-26:00"}, "Write it like 8:00-12:00"),
        ({"hours_2": "13:00-12:00"}, "It closes before it opens"),
        ({"hours_1": "8:00-12:00, 11:00-14:00"}, "overlap"),
        (dict.fromkeys(WEEK, ""), "has no working day"),
        ({"subdivision": "QQ"}, "There are no holidays known"),
        ({"hands": "0"}, "Give 1 or more."),
        ({"productive": "101"}, "Give 100 at most."),
    ],
)
def test_what_cannot_be_worked_by_is_refused_at_its_field_and_nothing_is_kept(manager, changes, sentence):
    times(manager)
    before = list(ShopHours.objects.values_list("weekday", "opens", "closes"))
    answer = times(manager, **changes)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert "field-wrong" in page
    assert all(value in page for value in changes.values())  # what was typed is still there
    assert list(ShopHours.objects.values_list("weekday", "opens", "closes")) == before
    assert Shop.objects.get().hands == 3


def test_closures_are_noted_and_taken_back(manager):
    span = {"first": "2030-12-24", "last": "2031-01-02", "reason": "winter"}
    assert manager.post(reverse("desk:add_closure"), span).status_code == 302
    row = Closure.objects.get()
    assert "winter" in manager.get(reverse("desk:times")).content.decode()
    manager.post(reverse("desk:end_closure", args=[row.pk]))
    assert not Closure.objects.exists()
    assert Entry.objects.filter(what__startswith="closure").count() == 2


@pytest.mark.parametrize(
    ("span", "sentence"),
    [
        ({"first": "2030-12-24", "last": "2030-12-01"}, "before the first"),
        ({"first": "2030-12-24", "last": "2039-12-24"}, "more than a year"),
        ({"first": "soon", "last": "2030-12-01"}, "valid date"),
    ],
)
def test_a_closure_that_makes_no_sense_is_refused_and_stays_typed(manager, span, sentence):
    vendor = Vendor.objects.create(name="Fell Plating")
    for address in (reverse("desk:add_closure"), reverse("desk:add_vendor_closure", args=[vendor.uid])):
        answer = manager.post(address, span)
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
        assert span["first"] in answer.content.decode()
    assert not Closure.objects.exists()
    assert not VendorClosure.objects.exists()


def test_a_vendor_has_days_of_its_own(manager):
    vendor = Vendor.objects.create(name="Fell Plating")
    address = reverse("desk:vendor_times", args=[vendor.uid])
    said = {"works_on": ["1", "2", "4"], "country": "AT", "subdivision": "", "transport_days": "2"}
    assert manager.post(address, said).status_code == 302
    vendor.refresh_from_db()
    assert (vendor.works_on, vendor.country, vendor.transport_days) == ("124", "AT", 2)
    manager.post(reverse("desk:add_vendor_closure", args=[vendor.uid]), {"first": "2030-08-01", "last": "2030-08-14"})
    row = VendorClosure.objects.get(vendor=vendor)
    manager.post(reverse("desk:end_vendor_closure", args=[row.pk]))
    assert not VendorClosure.objects.exists()


def test_a_vendor_without_a_working_day_is_refused_at_the_field(manager):
    vendor = Vendor.objects.create(name="Fell Plating")
    answer = manager.post(reverse("desk:vendor_times", args=[vendor.uid]), {"country": "", "transport_days": "0"})
    assert answer.status_code == 422
    assert "This vendor has no working day. Tick one day at least." in answer.content.decode()
    vendor.refresh_from_db()
    assert vendor.works_on == "12345"


@pytest.mark.parametrize("role", ["front_desk", "mechanic"])
def test_only_the_manager_says_when_the_workshop_works(role, request):
    client = request.getfixturevalue(role)
    vendor = Vendor.objects.create(name="Fell Plating")
    assert client.get(reverse("desk:times")).status_code == 403
    assert times(client).status_code == 403
    assert client.get(reverse("desk:vendor_times", args=[vendor.uid])).status_code == 403
    assert client.post(reverse("desk:add_closure"), {"first": "2030-12-24", "last": "2030-12-25"}).status_code == 403
    assert not ShopHours.objects.exists()
