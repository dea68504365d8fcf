"""The furnished shop, made once for all tests that look at it: making it takes as long as a hundred tests.

Those tests come after all others, in one transaction that is taken back at the end: nobody else sees what is in it.
"""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction

from tests.every_page import Address, addresses
from tests.furnished import furnish


def furnished_last(items: list[pytest.Item]) -> None:
    """Put them in that order, which is else as it was."""
    items.sort(key=lambda item: "furnished" in getattr(item, "fixturenames", ()))


@contextmanager
def taken_back(django_db_blocker: Any) -> Iterator[None]:
    """What is written meanwhile, for a scope wider than a test, is not there afterwards."""
    whole = transaction.atomic()
    whole._from_testcase = True  # type: ignore[attr-defined]  # as a test's own transaction, it is none to services
    with django_db_blocker.unblock(), whole:
        yield
        transaction.set_rollback(True)


@pytest.fixture(scope="session")
def furnished(django_db_setup: None, django_db_blocker: Any) -> Iterator[list[Address]]:
    """Its addresses. Each test asks for ``db`` as well, so that what it changes is taken back after it."""
    with taken_back(django_db_blocker):
        call_command("demo", stdout=io.StringIO())
        yield addresses(furnish())
