from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Permission
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop.outbox import handlers
from shop.outbox.models import Heartbeat, Row
from shop.outbox.views import SHOWN
from tests.outbox.conftest import note, publish

URL = "/background-jobs/"


def sign_in(client: Client, *permissions: str) -> None:
    person = get_user_model().objects.create_user(username="eve")
    person.user_permissions.set(Permission.objects.filter(content_type__app_label="outbox", codename__in=permissions))
    client.force_login(person)


@pytest.fixture
def manager(client: Client, db: None) -> Client:
    sign_in(client, "view_row", "retry_row")
    return client


@pytest.fixture
def desk(client: Client, db: None) -> Client:
    sign_in(client, "view_row")
    return client


def stuck(key: str = "k1", state: str = "dead", handler: str = "note") -> Row:
    row = publish(key, handler=handler, due_at=timezone.now(), now=timezone.now())
    Row.objects.filter(pk=row.pk).update(state=state, attempts=5, last_error="ValueError: the press is cold")
    return row


def text(client: Client) -> str:
    response = client.get(URL)
    assert response.status_code == 200
    return response.content.decode()


def test_the_page_is_closed_to_those_who_may_not_see_it(client: Client, db: None) -> None:
    assert client.get(URL).status_code == 302
    sign_in(client)
    assert client.get(URL).status_code == 403


def test_a_quiet_page_says_that_nothing_waits(manager: Client) -> None:
    assert "All background jobs are done." in text(manager)


def test_what_is_stuck_is_listed_with_its_error(manager: Client) -> None:
    handlers.register("pdf", note, handlers.HERE, label="Quote as PDF")
    stuck("quote 7", handler="pdf")
    stuck("mail 8", state="unknown")
    page = text(manager)
    for words in ("Given up", "Quote as PDF", "quote 7", "the press is cold", "Unknown whether it went out", "mail 8"):
        assert words in page
    assert page.count("/again/") == 2


def test_a_waiting_row_offers_no_decision(manager: Client) -> None:
    publish("later", due_at=timezone.now() + timedelta(days=1))
    page = text(manager)
    assert "later" in page
    assert "/again/" not in page


def test_who_may_only_look_gets_no_buttons_and_no_way_round_them(desk: Client) -> None:
    row = stuck()
    assert "/again/" not in text(desk)
    assert desk.post(f"{URL}{row.uid}/again/").status_code == 403
    assert desk.post(f"{URL}{row.uid}/done/").status_code == 403
    assert Row.objects.get().state == "dead"


@pytest.mark.parametrize(
    ("act", "state", "said"), [("again", "pending", "It is tried again now."), ("done", "done", "It is called done")]
)
def test_a_manager_decides_about_a_stuck_row(manager: Client, act: str, state: str, said: str) -> None:
    row = stuck()
    response = manager.post(f"{URL}{row.uid}/{act}/", follow=True)
    assert said in response.content.decode()
    assert Row.objects.get().state == state


def test_a_decision_that_comes_too_late_says_so(manager: Client) -> None:
    row = stuck()
    manager.post(f"{URL}{row.uid}/done/")
    response = manager.post(f"{URL}{row.uid}/again/", follow=True)
    assert "This background job is not stuck any more. Look at the list again." in response.content.decode()
    assert Row.objects.get().state == "done"


def test_looking_decides_nothing(manager: Client) -> None:
    row = stuck()
    for act in ("again", "done"):
        assert manager.get(f"{URL}{row.uid}/{act}/").headers["Location"] == URL
    row.refresh_from_db()
    assert row.state == "dead"


@pytest.mark.parametrize(("seconds", "warned"), [(30, False), (90, True)])
def test_the_page_warns_when_nobody_looks_for_work(manager: Client, seconds: int, warned: bool) -> None:
    Heartbeat.objects.create(name="sweep", at=timezone.now() - timedelta(seconds=seconds), by="w1", trouble="no pdf")
    page = text(manager)
    assert ("Background jobs are not being run." in page) is warned
    assert "no pdf" in page


def test_long_lists_are_cut_and_say_so(manager: Client) -> None:
    for number in range(SHOWN + 2):
        publish(f"k{number}")
    assert "Only the first 50 are shown." in text(manager)


def test_the_page_asks_as_much_for_many_rows_as_for_one(manager: Client) -> None:
    for state in ("dead", "unknown"):
        stuck(state, state=state)
    publish("w")
    with CaptureQueriesContext(connection) as for_one:
        manager.get(URL)
    for number in range(20):
        stuck(f"k{number}", state=("dead", "unknown")[number % 2])
        publish(f"w{number}")
    with CaptureQueriesContext(connection) as for_many:
        manager.get(URL)
    assert len(for_many) == len(for_one) < 12
