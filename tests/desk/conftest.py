"""The cast: front desk, mechanic, manager, somebody without a role, and a stranger who is not signed in."""

from datetime import UTC, datetime

import pytest
from django.contrib.auth.models import Group
from django.test import Client

from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def signed_in(name: str, *roles: str) -> Client:
    person = User.objects.create(username=name, first_name=name.title())
    person.groups.set(Group.objects.filter(name__in=roles))
    client = Client()
    client.force_login(person)
    return client


@pytest.fixture
def front_desk(db: None) -> Client:
    return signed_in("ada", ROLE_DESK)


@pytest.fixture
def mechanic(db: None) -> Client:
    return signed_in("tom", ROLE_MECHANIC)


@pytest.fixture
def manager(db: None) -> Client:
    return signed_in("eve", ROLE_MANAGER)


@pytest.fixture
def alone(db: None) -> Client:
    """A one-person shop: one person holds every role."""
    return signed_in("sam", ROLE_DESK, ROLE_MECHANIC, ROLE_MANAGER)


@pytest.fixture
def nobody(db: None) -> Client:
    return signed_in("kit")


@pytest.fixture
def stranger(db: None) -> Client:
    return Client()
