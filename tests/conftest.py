import os
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.test import TransactionTestCase
from hypothesis import HealthCheck
from hypothesis import settings as settings_of_examples

from tests import emptying
from tests.opening import browser, opened
from tests.standing import furnished, furnished_last

# Hypothesis: the same few examples on every check, and no time limit; with BAREFRAME_LONG=1 ten thousand fresh ones.
settings_of_examples.register_profile(
    "check",
    max_examples=60,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings_of_examples.register_profile(
    "long", settings_of_examples.get_profile("check"), max_examples=10_000, derandomize=False
)
settings_of_examples.load_profile("long" if os.environ.get("BAREFRAME_LONG") == "1" else "check")

__all__ = ["browser", "furnished", "opened"]  # fixtures for every room

_set_up = TransactionTestCase._fixture_setup.__func__


def _remember(cls: type[TransactionTestCase]) -> None:
    for alias in cls._databases_names(include_mirrors=False):
        emptying.remember(alias)
    _set_up(cls)


def _empty(self: TransactionTestCase) -> None:
    for alias in self._databases_names(include_mirrors=False):
        emptying.empty(alias)


TransactionTestCase._fixture_setup = classmethod(_remember)
TransactionTestCase._fixture_teardown = _empty


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
