"""What ends a test that commits: every row it left is deleted, and what a fresh database holds is as it was.

Django would delete from all tables and migrate again, for which every guard has to go and come back: a second each time.
Here that is done to tables alone that are not as they were.
"""

from typing import Any

from django.apps import apps
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from shop import guards

Rows = dict[str, list[tuple[Any, ...]]]

#: Of each database: the rows it had before the first test that commits.
_fresh: dict[str, Rows] = {}


def remember(alias: str) -> None:
    if alias not in _fresh:
        connection = connections[alias]
        _fresh[alias] = {table: _rows(connection, table) for table in _filled(connection)}


def empty(alias: str) -> None:
    connection, fresh = connections[alias], _fresh[alias]
    with transaction.atomic(using=alias):
        changed = {
            table for table in {*_filled(connection), *fresh} if _rows(connection, table) != fresh.get(table, [])
        }
        own = [guard for guard in guards.all_guards() if guard.table in changed]
        _run(connection, *(sql for guard in own for sql in guard.drop[connection.vendor]))
        _run(connection, *(f"DELETE FROM {connection.ops.quote_name(table)}" for table in sorted(changed)))
        for table in sorted(changed & fresh.keys()):
            _insert(connection, table, fresh[table])
        connection.check_constraints()  # PostgreSQL changes no table for which one waits
        _run(connection, *(sql for guard in own for sql in guard.create[connection.vendor]))
    if guards.missing(alias):  # the test itself took one away
        guards.install(alias)


def _filled(connection: BaseDatabaseWrapper) -> list[str]:
    """The tables that have rows, by one question."""
    tables = sorted({model._meta.db_table for model in apps.get_models(include_auto_created=True)})
    quoted = connection.ops.quote_name
    with connection.cursor() as cursor:
        cursor.execute(
            " UNION ALL ".join(f"SELECT '{table}' WHERE EXISTS (SELECT 1 FROM {quoted(table)})" for table in tables)
        )
        return [name for (name,) in cursor.fetchall()]


def _rows(connection: BaseDatabaseWrapper, table: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)} ORDER BY 1")
        return list(cursor.fetchall())


def _insert(connection: BaseDatabaseWrapper, table: str, rows: list[tuple[Any, ...]]) -> None:
    places = ", ".join(["%s"] * len(rows[0]))
    with connection.cursor() as cursor:
        cursor.executemany(f"INSERT INTO {connection.ops.quote_name(table)} VALUES ({places})", rows)


def _run(connection: BaseDatabaseWrapper, *statements: str) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
