from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.db.backends.postgresql.operations import DatabaseOperations
from django.test import TransactionTestCase

from shop import guards
from tests.opening import browser, opened
from tests.standing import furnished, furnished_last

__all__ = ["browser", "furnished", "opened"]  # fixtures for every room

_flush = TransactionTestCase._fixture_teardown


def _flush_without_guards(self: TransactionTestCase) -> None:
    """Append-only tables refuse to be emptied, which is what ends every test that commits."""
    for alias in self._databases_names(include_mirrors=False):
        guards.remove(alias)
    try:
        _flush(self)
    finally:
        for alias in self._databases_names(include_mirrors=False):
            guards.install(alias)


TransactionTestCase._fixture_teardown = _flush_without_guards

_truncate = DatabaseOperations.sql_flush


def _delete(
    self: DatabaseOperations, style: Any, tables: list[str], *, reset_sequences: bool = False, **more: Any
) -> list[str]:
    """Emptying small tables row by row: TRUNCATE of ours takes PostgreSQL two seconds, this some milliseconds."""
    if reset_sequences:
        return _truncate(self, style, tables, reset_sequences=reset_sequences, **more)
    return [f"DELETE FROM {self.quote_name(table)}" for table in tables]


DatabaseOperations.sql_flush = _delete


# The same algorithm at the least cost it allows: what is kept is tried, not how long it takes.
Argon2PasswordHasher.time_cost, Argon2PasswordHasher.memory_cost, Argon2PasswordHasher.parallelism = 1, 8, 1


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--rewrite-golden", action="store_true", help="write tests/golden anew from the live database, then compare"
    )


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    furnished_last(items)


@pytest.fixture(autouse=True, scope="session")
def static_root() -> None:
    """A fresh home has no collected static files yet, and WhiteNoise warns of that at the first request."""
    Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)


@pytest.fixture
def rewrite_golden(request: pytest.FixtureRequest) -> Any:
    return request.config.getoption("--rewrite-golden")
