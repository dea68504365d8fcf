"""A small made history: few quotes, nearly all accepted, so that there is something to learn from."""

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from quotes.desk import example
from quotes.learning.history import making, truth
from quotes.learning.history.making import MadeHistory

TODAY = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=ZoneInfo("UTC"))


def few(asked: int) -> Any:
    said = truth.told()
    said["customers"] |= {"asked_per_year": asked, "accept": 0.95}
    return said


@pytest.fixture
def history(db: None, monkeypatch: pytest.MonkeyPatch) -> MadeHistory:
    """One year with four quotes, beside the example workshop."""
    said = few(4)
    monkeypatch.setattr(truth, "told", lambda: said)
    example.load(today=TODAY, now=NOW)
    return making.make(years=1, seed=7, today=TODAY)
