"""The furnished shop, made once for all tests of a module: it takes half a minute of a slow machine."""

import io
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction

from tests.every_page import Address, addresses
from tests.furnished import furnish


@pytest.fixture(scope="module")
def furnished(django_db_setup: None, django_db_blocker: Any) -> Iterator[list[Address]]:
    """Its addresses. Each test asks for ``db`` as well, so that what it changes is taken back after it."""
    with django_db_blocker.unblock():
        whole = transaction.atomic()
        whole._from_testcase = True  # type: ignore[attr-defined]  # as a test's own transaction, it is none to services
        with whole:
            call_command("demo", stdout=io.StringIO())
            yield addresses(furnish())
            transaction.set_rollback(True)
