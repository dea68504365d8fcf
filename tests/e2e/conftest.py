from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.served import Served, chromium, served


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    home: Path = tmp_path_factory.mktemp("home")
    with served(home) as running:
        yield running


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running
