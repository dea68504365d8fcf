"""The page of people: added with a password that is shown once."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop.people.models import User
from shop.people.roles import roles_of

PAGE = "/workshop/people/"
TOM = {"name": "Tom Arkell", "username": "tom.arkell", "roles": ["mechanic", "desk"]}

pytestmark = pytest.mark.django_db


def test_a_person_is_added_and_can_sign_in_with_what_is_shown_once(manager: Client) -> None:
    answer = manager.post(PAGE, TOM)
    (password,) = re.findall(r"<strong>((?:[a-z2-9]{4}-){3}[a-z2-9]{4})</strong>", answer.content.decode())
    tom = User.objects.get(username="tom.arkell")
    assert tom.check_password(password)
    assert roles_of(tom) == {"mechanic", "desk"}
    assert answer["Cache-Control"] == "no-store"
    assert password not in manager.get(PAGE).content.decode()


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [({"username": "eve"}, "already exists"), ({"roles": []}, "Fill this in"), ({"name": ""}, "Fill this in")],
)
def test_a_wrong_entry_is_told_and_nothing_typed_is_lost(
    manager: Client, wrong: dict[str, object], sentence: str
) -> None:
    answer = manager.post(PAGE, TOM | wrong)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert ("Tom Arkell" in page) or ("tom.arkell" in page)
    assert User.objects.count() == 1


def test_access_ends_and_comes_back_with_a_new_password(manager: Client) -> None:
    manager.post(PAGE, TOM)
    tom = User.objects.get(username="tom.arkell")
    manager.post(f"{PAGE}{tom.uid}/end/")
    assert "access ended" in manager.get(PAGE).content.decode()
    answer = manager.post(f"{PAGE}{tom.uid}/password/")
    tom.refresh_from_db()
    assert tom.is_active
    assert "It is shown only now" in answer.content.decode()


def test_the_last_manager_reads_why_it_cannot_be(manager: Client) -> None:
    eve = User.objects.get()
    assert "nobody would be manager" in manager.post(f"{PAGE}{eve.uid}/end/", follow=True).content.decode()
    assert "nobody would be manager" in manager.post(f"{PAGE}{eve.uid}/", {"roles": ["desk"]}).content.decode()


def test_many_people_take_no_more_queries(manager: Client) -> None:
    with CaptureQueriesContext(connection) as few:
        manager.get(PAGE)
    for number in range(20):
        User.objects.create(username=f"person{number}")
    with CaptureQueriesContext(connection) as many:
        manager.get(PAGE)
    assert len(many) == len(few)


def test_it_is_the_managers_page(front_desk: Client, mechanic: Client) -> None:
    for client in (front_desk, mechanic):
        assert client.get(PAGE).status_code == 403
        assert client.post(PAGE, TOM).status_code == 403
    assert not User.objects.filter(username="tom.arkell").exists()
