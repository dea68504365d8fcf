"""What is looked up in a long journal is found by an index: what it costs does not grow with the past."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.desk import history, undoing
from shop.journal.models import Entry
from shop.journal.selectors import of_one_change
from shop.journal.services import Change, Subject, record_all, told_together
from tests.standing import taken_back

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
#: So many that reading them all is worse than an index to any planner.
PAST = 6_000

pytestmark = pytest.mark.django_db


def changes(count: int, first: int = 0) -> list[Change]:
    return [
        Change(Subject("restorations.part", UUID(int=first + number), "Nut"), {"area": None}, {"area": first + number})
        for number in range(1, count + 1)
    ]


@pytest.fixture(scope="module")
def entry(django_db_setup: None, django_db_blocker: Any) -> Iterator[Entry]:
    """The first of a change of three, with a long past before it and some others after."""
    with taken_back(django_db_blocker):
        record_all(who="ada", at=NOW, what="part changed", changes=changes(PAST))
        with told_together("many 1"):
            first = record_all(who="ada", at=NOW, what="part changed", changes=changes(1, PAST))[0]
            record_all(who="ada", at=NOW, what="part changed", changes=changes(2, PAST + 1))
        record_all(who="ada", at=NOW, what="part changed", changes=changes(PAST, PAST + 3))
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE journal_entry")
        yield first


def read(look: Callable[[], Any]) -> list[str]:
    """What was asked of the journal."""
    with CaptureQueriesContext(connection) as seen:
        look()
    return [query["sql"] for query in seen if 'FROM "journal_entry"' in query["sql"]]


def plan(sql: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute(f"{connection.ops.explain_query_prefix()} {sql}")
        return "\n".join(" ".join(map(str, row)) for row in cursor.fetchall())


def reads_all(planned: str) -> bool:
    """SQLite says SCAN where it reads every row, PostgreSQL Seq Scan."""
    return "SCAN journal_entry" in planned or "Seq Scan on journal_entry" in planned


def test_the_rest_of_a_change_is_found_by_its_reference(entry: Entry) -> None:
    assert len(of_one_change(entry)) == 3
    (sql,) = read(lambda: of_one_change(entry))
    assert "journal_entry_of_reference" in plan(sql), plan(sql)


def test_nothing_that_undoing_and_the_history_look_up_reads_the_whole_journal(entry: Entry) -> None:
    asked = read(lambda: undoing.undone_by(entry)) + read(lambda: history.happened([entry]))
    assert len(asked) >= 3
    assert {sql: plan(sql) for sql in asked if reads_all(plan(sql))} == {}


@pytest.mark.control
def test_reading_the_whole_journal_would_be_seen(entry: Entry) -> None:
    (sql,) = read(lambda: list(Entry.objects.filter(subject_label="Nut").order_by()))
    assert reads_all(plan(sql))
