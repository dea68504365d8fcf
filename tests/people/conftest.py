from collections.abc import Callable, Iterator

import pytest
from django.core.cache import cache
from django.test import Client

from shop.people.models import User
from shop.people.services import add_person

PASSWORD = "spoke nipple 36"

Enter = Callable[..., Client]


@pytest.fixture(autouse=True)
def fresh_counts() -> Iterator[None]:
    """Wrong sign-ins are counted in the cache, which outlives a test."""
    cache.clear()
    yield
    cache.clear()


def person(*roles: str, username: str = "ida") -> User:
    return add_person(username=username, name=username.title(), password=PASSWORD, roles=roles)


@pytest.fixture
def enter(db: None) -> Enter:
    """A browser in which somebody with these roles is signed in."""

    def signed_in(*roles: str, username: str = "ida") -> Client:
        client = Client()
        client.force_login(person(*roles, username=username))
        return client

    return signed_in
