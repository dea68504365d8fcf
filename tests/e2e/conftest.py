import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.served import Served, served


@pytest.fixture(scope="session")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Served:
    """The demo workshop as a first start leaves it, and stopped. To be copied: making it takes most of a start."""
    with served(tmp_path_factory.mktemp("begun")) as running:
        return running


@pytest.fixture(scope="session")
def shop(begun: Served, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with copied(begun, tmp_path_factory.mktemp("shop") / "home") as running:
        yield running


@contextmanager
def copied(begun: Served, home: Path) -> Iterator[Served]:
    """The demo workshop once more, at ``home``, running."""
    shutil.copytree(begun.home, home)
    with served(home) as running:
        running.passwords.update(begun.passwords)
        yield running
