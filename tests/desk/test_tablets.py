"""The manager's pages of tablets and PINs, and what the manager is called for."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import Group
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from quotes.desk import waiting_pins
from shop.people import pin_alarms, pins, tablets
from shop.people.models import Shop, Tablet, User
from shop.people.roles import ROLE_MECHANIC
from tests.workshop import restoration

PAGE = "/workshop/tablets/"

pytestmark = pytest.mark.django_db


def mechanic_with_pin(name: str = "tom") -> tuple[User, str]:
    row = User.objects.create(username=name, first_name=name.title())
    row.groups.set(Group.objects.filter(name=ROLE_MECHANIC))
    return row, pins.give_pin(person=row, who="eve", now=timezone.now())


def bench(name: str = "Bench") -> Tablet:
    now = timezone.now()
    return tablets.enrol(code=tablets.begin_enrolment(name=name, who="eve", now=now), now=now)[0]


def misses(person: User, pin: str, at: Tablet, count: int) -> None:
    """As slowly as the lock of one person allows."""
    for number in range(count):
        now = timezone.now() - timedelta(hours=20) + number * timedelta(minutes=20)
        assert not pins.check_pin(person=person, pin=f"{(int(pin) + 1) % 10**6:06}", tablet=at, now=now)


def test_a_tablet_is_named_shown_a_code_once_and_then_in_the_list(manager: Client) -> None:
    answer = manager.post(PAGE, {"name": "Bench by the door"})
    page = answer.content.decode()
    (code,) = re.findall(r"<strong>([a-z2-9]{4}-[a-z2-9]{4})</strong>", page)
    assert answer["Cache-Control"] == "no-store"
    assert "data:image/svg+xml" in page
    again = manager.get(PAGE).content.decode()
    assert code not in again
    assert "code open until" in again
    assert Client().post("/sign-in/tablet/", {"code": code}).status_code == 302
    assert "last seen" in manager.get(PAGE).content.decode()


def test_a_name_that_is_taken_is_told_and_stays_in_the_box(manager: Client) -> None:
    bench()
    answer = manager.post(PAGE, {"name": "Bench"})
    assert answer.status_code == 422
    assert "There is a tablet of this name" in answer.content.decode()
    assert 'value="Bench"' in answer.content.decode()


def test_taken_off_it_is_among_those_taken_off(manager: Client) -> None:
    row = bench()
    page = manager.post(f"{PAGE}{row.uid}/end/", follow=True).content.decode()
    assert "it opens nothing any more" in page
    row.refresh_from_db()
    assert (row.ended_by, row.ended_at is None) == ("eve", False)
    manager.post(f"{PAGE}{row.uid}/end/")
    assert Tablet.objects.get().ended_at == row.ended_at


def test_the_manager_says_whether_clocking_asks_for_the_pin(manager: Client) -> None:
    assert "two taps and no PIN" in manager.get(PAGE).content.decode()
    page = manager.post(f"{PAGE}pin-to-clock/", {"ask": "yes"}, follow=True).content.decode()
    assert "Clocking on a tablet asks for the PIN." in page
    assert Shop.objects.get().pin_to_clock
    manager.post(f"{PAGE}pin-to-clock/", {"ask": "no"})
    assert not Shop.objects.get().pin_to_clock


def test_a_pin_is_given_shown_once_and_works(manager: Client) -> None:
    tom, old = mechanic_with_pin()
    answer = manager.post(f"/workshop/people/{tom.uid}/pin/")
    (pin,) = re.findall(r"<strong>(\d{6})</strong>", answer.content.decode())
    assert answer["Cache-Control"] == "no-store"
    assert pin not in re.sub(r"[0-9a-f-]{36}", "", manager.get(f"/workshop/people/{tom.uid}/").content.decode())
    row, now = bench(), timezone.now()
    assert pins.check_pin(person=tom, pin=pin, tablet=row, now=now)
    assert old == pin or not pins.check_pin(person=tom, pin=old, tablet=row, now=now)


def test_ten_misses_in_a_row_are_on_the_managers_first_page_until_unlocked(manager: Client, front_desk: Client) -> None:
    restoration()
    tom, pin = mechanic_with_pin()
    misses(tom, pin, bench(), 10)
    page = manager.get("/").content.decode()
    assert "The PIN of Tom is locked" in page
    assert "The PIN of Tom is locked" not in front_desk.get("/").content.decode()
    assert "Ten wrong PINs in a row" in manager.get(f"/workshop/people/{tom.uid}/").content.decode()
    manager.post(f"/workshop/people/{tom.uid}/unlock/")
    assert "The PIN of Tom is locked" not in manager.get("/").content.decode()
    assert pins.check_pin(person=tom, pin=pin, tablet=Tablet.objects.get(), now=timezone.now())


def test_a_spray_rings_on_the_managers_first_page_until_it_is_seen_to(manager: Client) -> None:
    restoration()
    row, now = bench("Spray room"), timezone.now()
    for number in range(pin_alarms.OF_A_PLACE):
        person, pin = mechanic_with_pin(f"m{number}")
        pins.check_pin(person=person, pin=f"{(int(pin) + 1) % 10**6:06}", tablet=row, now=now)
    assert "on the tablet “Spray room”" in manager.get("/").content.decode()
    assert "Too many wrong PINs" in manager.get(PAGE).content.decode()
    page = manager.post(f"{PAGE}pins-go-on/", follow=True).content.decode()
    assert "PINs are taken again." in page
    assert "Spray room”" not in manager.get("/").content.decode()


def test_many_tablets_and_alarms_take_no_more_queries(manager: Client) -> None:
    def asked(address: str) -> int:
        with CaptureQueriesContext(connection) as queries:
            manager.get(address)
        return len(queries)

    now, day = timezone.now(), timezone.localdate()
    tom, pin = mechanic_with_pin()
    misses(tom, pin, bench(), 10)
    few = asked(PAGE)
    with CaptureQueriesContext(connection) as queries:
        waiting_pins.alarms(day)
    before = len(queries)
    for number in range(10):
        bench(f"T{number}")
        tablets.begin_enrolment(name=f"W{number}", who="eve", now=now)
        person, pin = mechanic_with_pin(f"m{number}")
        pins.Pin.objects.filter(person=person).update(tries=10)
        User.objects.create(username=f"w{number}").groups.set(Group.objects.filter(name=ROLE_MECHANIC))
    assert asked(PAGE) == few
    with CaptureQueriesContext(connection) as queries:
        assert len(waiting_pins.alarms(day).rows) == 11
    assert len(queries) == before == 2


def test_it_is_the_managers_page(front_desk: Client, mechanic: Client) -> None:
    row = bench()
    tom, _pin = mechanic_with_pin("kim")
    for client in (front_desk, mechanic):
        for address in (
            PAGE,
            f"{PAGE}{row.uid}/end/",
            f"{PAGE}pin-to-clock/",
            f"{PAGE}pins-go-on/",
            f"/workshop/people/{tom.uid}/pin/",
            f"/workshop/people/{tom.uid}/unlock/",
        ):
            assert client.get(address).status_code == client.post(address, {"name": "x"}).status_code == 403
    assert Tablet.objects.get().ended_at is None
