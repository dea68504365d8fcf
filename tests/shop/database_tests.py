"""``-p tests.shop.database_tests --database-tests only`` (or ``none``): so that what needs no database runs once only."""

import pytest
from django.test import TransactionTestCase

FIXTURES = {"db", "transactional_db", "client", "live_server", "django_db_setup"}


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--database-tests", choices=["only", "none"], required=True)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    wanted = config.getoption("--database-tests") == "only"
    left_out = [item for item in items if uses_database(item) != wanted]
    config.hook.pytest_deselected(items=left_out)
    items[:] = [item for item in items if uses_database(item) == wanted]


def uses_database(item: pytest.Item) -> bool:
    """Django's own test classes need no mark; without mark or class pytest-django refuses any query."""
    if issubclass(getattr(item, "cls", None) or object, TransactionTestCase):
        return True
    fixtures = set(getattr(item, "fixturenames", ()))
    return item.get_closest_marker("django_db") is not None or not fixtures.isdisjoint(FIXTURES)
