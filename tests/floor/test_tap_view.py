"""The tap's address: a form that leads on, JSON that is answered, and nobody who may not tap."""

import json
import uuid
from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.test import Client
from django.utils import timezone

from shop.floor.models import Clocking, Tap
from shop.people import pins, tablets
from shop.people.models import Shop, User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC
from shop.routes.models import Task
from tests.floor.conftest import person

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 3, 9, tzinfo=UTC)


def worker(name: str, *roles: str) -> User:
    found = person(name)
    for role in roles or (ROLE_MECHANIC,):
        found.groups.add(Group.objects.get_or_create(name=role)[0])
    return found


def signed_in(who: User) -> Client:
    client = Client()
    client.force_login(who)
    return client


@pytest.fixture
def tom(db: None) -> User:
    return worker("tom")


@pytest.fixture
def eve(db: None) -> User:
    return worker("eve")


@pytest.fixture
def tablet(tom: User, eve: User) -> Client:
    """A tablet of the workshop."""
    now = timezone.now()
    _tablet, secret = tablets.enrol(code=tablets.begin_enrolment(name="Bench", who="ann", now=now), now=now)
    client = Client()
    client.cookies[tablets.cookie_name()] = secret
    return client


def body(who: User, to: Task | None, **more: Any) -> dict[str, Any]:
    kind = "on" if to else "off"
    return {"uid": str(uuid.uuid4()), "kind": kind, "person": str(who.uid), "task": str(to.uid) if to else ""} | more


def send(client: Client, sent: Any) -> Any:
    return client.post("/floor/tap/", json.dumps(sent), content_type="application/json")


def test_a_form_on_a_tablet_puts_on_and_leads_on(tablet: Client, tom: User, wheels: Task) -> None:
    answer = tablet.post("/floor/tap/", body(tom, wheels, next="/floor/day/"))
    assert (answer.status_code, answer["location"]) == (302, "/floor/day/")
    row = Clocking.objects.get()
    assert (row.person, row.task, row.tap and row.tap.tablet and row.tap.tablet.name) == (tom, wheels, "Bench")


def test_a_form_never_leads_off_to_another_house(tablet: Client, tom: User, wheels: Task) -> None:
    answer = tablet.post("/floor/tap/", body(tom, wheels, next="//elsewhere.example/"))
    assert answer["location"] == f"/floor/hands/{tom.uid}/day/"


def test_json_is_answered_with_the_state(tablet: Client, tom: User, wheels: Task) -> None:
    answer = send(tablet, body(tom, wheels))
    told = answer.json()
    assert (answer.status_code, told["state"], told["on"]["name"]) == (200, "applied", "Strip the wheels")


def test_the_same_tap_again_is_answered_alike_and_another_under_its_number_is_refused(
    tablet: Client, tom: User, wheels: Task, tank: Task
) -> None:
    sent = body(tom, wheels)
    first = send(tablet, sent)
    again = send(tablet, sent)
    other = send(tablet, sent | {"task": str(tank.uid)})
    assert (again.status_code, again.json()) == (200, first.json())
    assert other.status_code == 422
    assert Clocking.objects.count() == 1


def test_a_form_sent_twice_is_one_tap(tablet: Client, tom: User, wheels: Task) -> None:
    """Its token differs each time; what was tapped does not."""
    sent = body(tom, wheels)
    tablet.post("/floor/tap/", sent | {"csrfmiddlewaretoken": "a"})
    tablet.post("/floor/tap/", sent | {"csrfmiddlewaretoken": "b"})
    assert Tap.objects.count() == 1


def test_who_was_slower_reads_who_was_quicker(tablet: Client, tom: User, wheels: Task, tank: Task) -> None:
    send(tablet, body(tom, wheels, seen=""))
    answer = send(tablet, body(tom, tank, seen=""))
    assert (answer.status_code, answer.json()["on"]["name"]) == (409, "Strip the wheels")
    assert Tap.objects.filter(state="asked").count() == 1


def test_a_tap_for_a_task_that_is_not_there_is_kept(tablet: Client, tom: User, wheels: Task) -> None:
    answer = send(tablet, body(tom, wheels) | {"task": str(uuid.uuid4())})
    assert (answer.status_code, answer.json()["state"]) == (202, "asked")
    assert Tap.objects.get().task is None


@pytest.mark.parametrize(
    "sent",
    [
        [],
        "x",
        {},
        {"kind": "on"},
        {"kind": "gone", "uid": str(uuid.uuid4())},
        {"kind": "done", "uid": str(uuid.uuid4()), "lines": "1." * 20_000},
        {"kind": "off", "uid": "7"},
        {"kind": "off", "uid": None},
        {"kind": "on", "uid": str(uuid.uuid4()), "task": "x"},
    ],
)
def test_what_is_no_tap_is_said_to_be_none(tom: User, eve: User, sent: Any) -> None:
    answer = send(signed_in(tom), sent)
    assert answer.status_code == 400
    assert answer.json()["words"]


def test_broken_bytes_are_no_tap(tom: User, eve: User) -> None:
    answer = signed_in(tom).post("/floor/tap/", b"\xff{", content_type="application/json")
    assert answer.status_code == 400


@pytest.mark.parametrize("moment", ["yesterday", "2026-02-30T10:00:00Z", "2026-03-02T10:00:00", 7])
def test_a_moment_that_is_none_is_as_if_it_were_not_said(tablet: Client, tom: User, wheels: Task, moment: Any) -> None:
    assert send(tablet, body(tom, wheels, device_at=moment, queued=True)).status_code == 200
    assert Tap.objects.get().device_at is None


def test_nobody_taps_for_somebody_else_but_on_a_tablet_and_the_manager(
    tablet: Client, tom: User, eve: User, wheels: Task
) -> None:
    boss = worker("boss", ROLE_MANAGER)
    assert send(signed_in(tom), body(eve, wheels)).status_code == 403
    assert not Tap.objects.exists()
    assert send(signed_in(tom), body(tom, wheels)).status_code == 200
    assert send(signed_in(boss), body(eve, wheels)).status_code == 200


def test_the_desk_and_strangers_do_not_tap(tom: User, wheels: Task) -> None:
    desk = worker("desk", ROLE_DESK)
    assert send(signed_in(desk), body(tom, wheels)).status_code == 403
    assert send(Client(), body(tom, wheels)).status_code == 302
    assert not Tap.objects.exists()


def test_where_the_shop_wants_a_pin_the_tap_waits_for_it_and_is_not_lost(
    tablet: Client, tom: User, wheels: Task
) -> None:
    Shop.objects.update(pin_to_clock=True)
    pin = pins.give_pin(person=tom, who="ann", now=timezone.now())
    sent = body(tom, wheels)
    asked = tablet.post("/floor/tap/", sent)
    assert f'name="uid" value="{sent["uid"]}"' in asked.content.decode()
    assert not Tap.objects.exists()
    wrong = tablet.post("/floor/tap/", sent | {"pin": "000000" if pin != "000000" else "111111"})
    assert wrong.status_code == 422
    assert tablet.post("/floor/tap/", sent | {"pin": pin}).status_code == 302
    assert Clocking.objects.get().task == wheels
    assert send(tablet, body(tom, None)).status_code == 200


def test_a_script_is_told_that_a_pin_is_wanted(tablet: Client, tom: User, wheels: Task) -> None:
    Shop.objects.update(pin_to_clock=True)
    answer = send(tablet, body(tom, wheels))
    assert (answer.status_code, answer.json()["why"]) == (403, "pin")


def test_looking_at_the_address_leads_to_a_page(tablet: Client, tom: User) -> None:
    assert tablet.get("/floor/tap/")["location"] == "/floor/day/"


def test_a_tap_of_a_tablet_takes_few_queries(
    tablet: Client, tom: User, wheels: Task, tank: Task, django_assert_max_num_queries: Any
) -> None:
    send(tablet, body(tom, wheels))
    with django_assert_max_num_queries(18):
        send(tablet, body(tom, tank))
