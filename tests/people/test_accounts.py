"""The manager keeps who may sign in; somebody always stays manager, whatever races."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Barrier

import pytest
from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client

from shop.journal.models import Entry
from shop.people import accounts
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, roles_of

NOW = datetime(2031, 3, 3, 9, tzinfo=UTC)


def somebody(name: str, *roles: str) -> User:
    row = User.objects.create_user(name, password="left bag on hook 7", first_name=name.title())
    row.groups.set(Group.objects.filter(name__in=roles))
    return row


@pytest.mark.django_db
def test_the_last_manager_stays() -> None:
    eve = somebody("eve", ROLE_MANAGER)
    for attempt in (
        lambda: accounts.end_access(person=eve, who="eve", now=NOW),
        lambda: accounts.change_roles(person=eve, roles=[ROLE_DESK], who="eve", now=NOW),
    ):
        with pytest.raises(ValidationError, match="nobody would be manager"):
            attempt()
    eve.refresh_from_db()
    assert eve.is_active
    assert roles_of(User.objects.get()) == {ROLE_MANAGER}


@pytest.mark.django_db(transaction=True)
def test_two_managers_cannot_end_each_other_at_once() -> None:
    """Write skew: each looks, sees another manager, and goes (RELIABILITY B-13)."""
    for _round in range(5):
        User.objects.all().delete()
        eve, max_ = somebody("eve", ROLE_MANAGER), somebody("max", ROLE_MANAGER)
        together(
            lambda eve=eve: accounts.end_access(person=eve, who="max", now=NOW),
            lambda max_=max_: accounts.end_access(person=max_, who="eve", now=NOW),
        )
        assert User.objects.filter(is_active=True).count() == 1


def together(*jobs: Callable[[], None]) -> None:
    start = Barrier(len(jobs))

    def run(job: Callable[[], None]) -> None:
        start.wait()
        try:
            job()
        except ValidationError:
            pass
        finally:
            connection.close()

    with ThreadPoolExecutor(len(jobs)) as pool:
        list(pool.map(run, jobs))


@pytest.mark.django_db
def test_whoever_lost_access_is_out_with_the_next_click(client: Client) -> None:
    somebody("eve", ROLE_MANAGER)
    ada = somebody("ada", ROLE_DESK)
    client.force_login(ada)
    assert client.get("/").status_code == 200
    accounts.end_access(person=ada, who="eve", now=NOW)
    assert client.get("/")["Location"].startswith("/sign-in/")


@pytest.mark.django_db
@pytest.mark.parametrize("change", [accounts.set_new_password, accounts.give_access_back])
def test_a_new_password_ends_other_sessions_and_the_journal_learns_no_word_of_it(
    client: Client, change: Callable[..., None]
) -> None:
    ada = somebody("ada", ROLE_DESK)
    client.force_login(ada)
    password = accounts.new_password()
    change(person=ada, password=password, who="eve", now=NOW)
    assert client.get("/")["Location"].startswith("/sign-in/")
    assert User.objects.get().check_password(password)
    assert not any(password in entry.before + entry.after for entry in Entry.objects.all())
