"""Nobody is told that the database is locked (RELIABILITY B-05; Django's documentation, ref/databases, SQLite)."""

import os
import sqlite3
import time
from typing import Any

import pytest
from django.db import OperationalError, connection, transaction

from shop.outbox.models import Heartbeat
from tests.faults.processes import race
from tests.outbox.conftest import NOW

WRITERS, READER, BACKUP = 8, 8, 9
ROUNDS = 500 if os.environ.get("BAREFRAME_LONG") == "1" else 60

only_sqlite = pytest.mark.skipif(
    "connection.vendor != 'sqlite'", reason="PostgreSQL has no lock on the whole database that could time out"
)


def read_then_write() -> tuple[int, float]:
    """How many transactions were refused, and the longest wait."""
    refused, longest = 0, 0.0
    for _round in range(ROUNDS):
        began = time.monotonic()
        try:
            with transaction.atomic():
                row = Heartbeat.objects.get(name="counter")
                row.by = str(int(row.by) + 1)
                row.save()
        except OperationalError:
            refused += 1
        longest = max(longest, time.monotonic() - began)
    return refused, longest


def play(number: int) -> tuple[int, float]:
    if number < WRITERS:
        return read_then_write()
    name = connection.settings_dict["NAME"]
    with sqlite3.connect(name) as plain:
        if number == READER:
            plain.execute("BEGIN")
            plain.execute("SELECT count(*) FROM outbox_heartbeat").fetchone()
            time.sleep(2)
        else:
            with sqlite3.connect(":memory:") as copy:
                plain.backup(copy, pages=10, sleep=0.01)
    return 0, 0.0


@only_sqlite
@pytest.mark.django_db(transaction=True)
def test_eight_writers_a_long_reader_and_a_backup_are_never_told_that_it_is_locked() -> None:
    Heartbeat.objects.create(name="counter", at=NOW, by="0")
    told = race(play, WRITERS + 2)
    print(f"longest wait of a writer: {max(longest for _refused, longest in told):.3f} s")
    assert sum(refused for refused, _longest in told) == 0
    assert Heartbeat.objects.get(name="counter").by == str(WRITERS * ROUNDS)


@only_sqlite
@pytest.mark.control
@pytest.mark.django_db(transaction=True)
def test_transactions_that_begin_by_reading_only_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    options: dict[str, Any] = connection.settings_dict["OPTIONS"]
    Heartbeat.objects.create(name="counter", at=NOW, by="0")
    connection.close()
    monkeypatch.setitem(options, "transaction_mode", "DEFERRED")
    told = race(play, WRITERS)
    monkeypatch.undo()
    connection.close()
    assert sum(refused for refused, _longest in told) > 0
