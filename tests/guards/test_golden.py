"""The golden list: what a migrated database must hold, on each engine, besides columns.

A wanted change is written with ``pytest tests/guards/test_golden.py --rewrite-golden`` on both engines, and read
through in the difference.
"""

from pathlib import Path

import pytest
from django.db import connection, transaction

from shop import guards
from tests.guards import catalogue

GOLDEN = Path(__file__).resolve().parent.parent / "golden"


def golden() -> list[str]:
    return (GOLDEN / f"{connection.vendor}.txt").read_text(encoding="utf-8").splitlines()


@pytest.mark.django_db
def test_the_database_holds_the_constraints_indexes_and_triggers_of_the_golden_list(rewrite_golden: bool) -> None:
    live = catalogue.lines()
    if rewrite_golden:
        (GOLDEN / f"{connection.vendor}.txt").write_text("\n".join(live) + "\n", encoding="utf-8")
    assert live == golden()


@pytest.mark.control
@pytest.mark.django_db
def test_dropping_any_one_object_of_a_guard_is_seen_in_the_golden_list() -> None:
    before = catalogue.lines()
    objects = guards._objects(connection)
    assert objects
    for name, drop in objects:
        with transaction.atomic():
            guards._run(connection, [drop])
            assert catalogue.lines() != before, name
            assert name in guards.missing()
            transaction.set_rollback(True)
    assert catalogue.lines() == before


@pytest.mark.control
@pytest.mark.django_db
def test_every_listed_guard_leaves_lines_in_the_golden_list() -> None:
    for guard in guards.all_guards():
        kinds = ("trigger", "exclusion")
        assert any(f"{guard.table} | {kind} | {guard.name}" in line for line in golden() for kind in kinds), guard.name
