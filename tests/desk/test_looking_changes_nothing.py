"""Whoever only looks changes nothing: every address of the shop, as every role and as a customer (RELIABILITY S-04)."""

import hashlib
from collections import Counter

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


@pytest.fixture
def shop(furnished: list[Address], db: None) -> list[Address]:
    return furnished


def test_looking_at_every_address_changes_nothing(shop: list[Address]) -> None:
    """Each as the first role that may see it, the first page as all of them, and the customer's pages by a link."""
    changed: list[str] = []
    seen: Counter[int] = Counter()
    rest = [one for one in shop if not one.enter]
    for role in ("desk", "manager", "mechanic"):
        client = Client(raise_request_exception=False)
        client.force_login(User.objects.get(username=role))
        statuses = {one: _look(client, one, changed) for one in rest}
        rest = [one for one, status in statuses.items() if status == 403 or one.path == "/"]
        seen.update(statuses.values())
    for one in shop:
        if one.enter:
            client = Client(raise_request_exception=False)
            client.get(one.enter)
            seen[_look(client, one, changed)] += 1
    assert changed == []
    assert seen[200] > 90, seen
    assert not [status for status in seen if status >= 500], seen


def _look(client: Client, one: Address, changed: list[str]) -> int:
    before = tables()
    status = client.get(one.path).status_code
    after = tables()
    changed += [f"{one.path}: {name}" for name in after if after[name] != before[name]]
    return int(status)


@pytest.mark.control
def test_a_change_would_be_noticed(shop: list[Address]) -> None:
    before = tables()
    User.objects.filter(username="desk").update(first_name="Somebody else")
    after = tables()
    assert [name for name in after if after[name] != before[name]] == ["people_user"]
