from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def documents(settings: Any, tmp_path: Path) -> Path:
    Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)  # the static file server warns without it
    settings.MEDIA_ROOT = tmp_path / "documents"
    return tmp_path / "documents"
