"""Whoever only looks changes nothing: every address of the shop, as every role and as a customer (RELIABILITY S-04).

All tables are read after each address that sent the database anything but a question, and once more after the last.
"""

import hashlib
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from django.apps import apps
from django.db import connection
from django.test import Client

from shop.people.models import User
from tests.every_page import Address

#: What signing in and being signed in writes, and no page.
OF_THE_FRAME = {"django_session"}


def tables() -> dict[str, str]:
    """Each table as a hash of all its rows."""
    found = {}
    names = {model._meta.db_table: model._meta.pk.column for model in apps.get_models(include_auto_created=True)}
    with connection.cursor() as cursor:
        for name, key in sorted(names.items()):
            if name in OF_THE_FRAME:
                continue
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(name)} ORDER BY {connection.ops.quote_name(key)}")
            found[name] = hashlib.sha256(repr(cursor.fetchall()).encode()).hexdigest()
    return found


#: What changes no row but those of the frame.
HARMLESS = re.compile(r'(?:SELECT|SAVEPOINT|RELEASE SAVEPOINT)\b|(?:INSERT INTO|UPDATE|DELETE FROM) "django_session"')


class Watch:
    """The tables as they were last read, and whether something was sent since that may have changed them."""

    def __init__(self) -> None:
        self.rows, self.stale = tables(), False

    def __call__(self, execute: Any, sql: str, *rest: Any) -> Any:
        self.stale = self.stale or not HARMLESS.match(sql)
        return execute(sql, *rest)

    def changed(self) -> list[str]:
        """Names of the tables that are not as they were."""
        before, self.rows, self.stale = self.rows, tables(), False
        return [name for name, rows in self.rows.items() if rows != before[name]]


@pytest.fixture
def shop(furnished: list[Address], db: None) -> list[Address]:
    return furnished


@pytest.fixture
def watch(shop: list[Address]) -> Iterator[Watch]:
    watching = Watch()
    with connection.execute_wrapper(watching):
        yield watching


def test_looking_at_every_address_changes_nothing(shop: list[Address], watch: Watch) -> None:
    """Each as the first role that may see it, the first page as all of them, and the customer's pages by a link."""
    changed: list[str] = []
    seen: Counter[int] = Counter()

    def look(client: Client, one: Address) -> int:
        status = int(client.get(one.path).status_code)
        seen[status] += 1
        changed.extend(f"{one.path}: {name}" for name in (watch.changed() if watch.stale else ()))
        return status

    rest = [one for one in shop if not one.enter]
    for role in ("desk", "manager", "mechanic"):
        client = Client(raise_request_exception=False)
        client.force_login(User.objects.get(username=role))
        assert watch.changed() == ["people_user"]  # when they were last here
        statuses = {one: look(client, one) for one in rest}
        rest = [one for one, status in statuses.items() if status == 403 or one.path == "/"]
    for one in shop:
        if one.enter:
            client = Client(raise_request_exception=False)
            client.get(one.enter)
            look(client, one)
    assert changed + watch.changed() == []
    assert seen[200] > 90, seen
    assert not [status for status in seen if status >= 500], seen


@pytest.mark.control
def test_a_change_would_be_noticed(shop: list[Address], watch: Watch) -> None:
    assert User.objects.filter(username="desk").exists()
    assert not watch.stale
    User.objects.filter(username="desk").update(first_name="Somebody else")
    assert watch.stale
    assert watch.changed() == ["people_user"]


@pytest.mark.control
@pytest.mark.parametrize(
    "sql",
    ['UPDATE "people_user" SET "first_name" = %s', "WITH one AS (SELECT 1) UPDATE people_user SET first_name = %s"],
)
def test_whatever_is_no_question_is_looked_into(watch: Watch, sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, ["Somebody else"])
    assert watch.stale
