"""Guards: database objects that protect facts where a model's constraints cannot.

A room lists its own in ``guards.py`` as ``GUARDS: tuple[Guard, ...]``. All are dropped before every migrate and
installed after it, since SQLite silently loses the triggers of a table it rebuilds, and a trigger that names another
table makes that table's next migration fail. A broken guard raises ``IntegrityError`` on both engines, with a plain
sentence as its text.

Every object a guard makes carries a name that begins with ``guard_``: what is not in any room's list any more is
found by it and dropped.
"""

import importlib
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.core.checks import CheckMessage
from django.core.checks import Warning as CheckWarning
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils.module_loading import module_has_submodule

PREFIX = "guard_"
SQLITE, POSTGRESQL = "sqlite", "postgresql"
LONGEST_NAME = 63 - len("_truncate")  # PostgreSQL cuts longer identifiers without a word

Statements = Mapping[str, Sequence[str]]


@dataclass(frozen=True)
class Guard:
    """``create`` and ``drop`` are SQL statements for each vendor; dropping what is not there must be no error."""

    table: str
    name: str
    create: Statements
    drop: Statements

    def __post_init__(self) -> None:
        if not self.name.startswith(PREFIX) or len(self.name) > LONGEST_NAME:
            raise ValueError(f"{self.name!r} must begin with {PREFIX!r} and have at most {LONGEST_NAME} letters.")


def append_only(table: str, message: str = "") -> Guard:
    """Rows can be added, never changed or deleted."""
    text = _quoted(message or f"Rows of {table} are kept as written: they cannot be changed or deleted.")
    name = f"{PREFIX}{table}_append_only"
    function = _function(name, f"RAISE EXCEPTION USING MESSAGE = {text}, ERRCODE = '23000';")
    create = {
        SQLITE: [
            f'CREATE TRIGGER "{name}_{event}" BEFORE {event.upper()} ON "{table}"'
            f" BEGIN SELECT RAISE(ABORT, {text}); END"
            for event in ("update", "delete")
        ],
        POSTGRESQL: [
            function,
            f'CREATE TRIGGER "{name}" BEFORE UPDATE OR DELETE ON "{table}" FOR EACH ROW EXECUTE FUNCTION "{name}"()',
            f'CREATE TRIGGER "{name}_truncate" BEFORE TRUNCATE ON "{table}"'
            f' FOR EACH STATEMENT EXECUTE FUNCTION "{name}"()',
        ],
    }
    return Guard(table, name, create, _dropping(name, sqlite=[f"{name}_update", f"{name}_delete"]))


def frozen_columns(table: str, columns: Sequence[str], message: str = "") -> Guard:
    """These columns keep the values their row was added with; the others may change."""
    text = message or f"{', '.join(columns)} of {table} are kept as written: they cannot be changed."
    when = {
        SQLITE: " OR ".join(f'OLD."{column}" IS NOT NEW."{column}"' for column in columns),
        POSTGRESQL: " OR ".join(f'OLD."{column}" IS DISTINCT FROM NEW."{column}"' for column in columns),
    }
    return refuse(table, "frozen", on="UPDATE", when=when, message=text)


def refuse(table: str, name: str, *, on: str, when: str | Mapping[str, str], message: str) -> Guard:
    """Refuse an INSERT, UPDATE or DELETE ``on`` a row for which ``when`` holds.

    ``when`` is SQL over ``OLD`` and ``NEW``, subqueries allowed, given once or for each vendor.
    """
    if on not in {"INSERT", "UPDATE", "DELETE"}:
        raise ValueError(f"A guard refuses INSERT, UPDATE or DELETE, not {on!r}.")
    by_vendor = {SQLITE: when, POSTGRESQL: when} if isinstance(when, str) else when
    full, text = f"{PREFIX}{table}_{name}", _quoted(message)
    body = (
        f"IF ({by_vendor[POSTGRESQL]}) THEN RAISE EXCEPTION USING MESSAGE = {text}, ERRCODE = '23000'; END IF;"
        f" RETURN {'OLD' if on == 'DELETE' else 'NEW'};"
    )
    create = {
        SQLITE: [
            f'CREATE TRIGGER "{full}" BEFORE {on} ON "{table}" WHEN {by_vendor[SQLITE]}'
            f" BEGIN SELECT RAISE(ABORT, {text}); END"
        ],
        POSTGRESQL: [
            _function(full, body),
            f'CREATE TRIGGER "{full}" BEFORE {on} ON "{table}" FOR EACH ROW EXECUTE FUNCTION "{full}"()',
        ],
    }
    return Guard(table, full, create, _dropping(full, sqlite=[full]))


def no_overlap(table: str, name: str, *, of: str, begins: str, ends: str, live: str, message: str) -> Guard:
    """Rows with the same number in ``of`` that are ``live`` never overlap from ``begins`` to ``ends``; without an end they never end.

    ``live`` is SQL over the row's columns in quotes. Rows that meet do not overlap, and one that ends as it begins overlaps
    nothing. PostgreSQL excludes by ranges alone, which needs no extension. SQLite compares the instants as Django stores
    them: in UTC, the larger units first, so that their order as text is their order in time.
    """
    full, text = f"{PREFIX}{table}_{name}", _quoted(message)
    new_live, own = re.sub(r'"(\w+)"', r'NEW."\1"', live), re.sub(r'"(\w+)"', r'other."\1"', live)
    clash = (
        f'({new_live}) AND (NEW."{ends}" IS NULL OR NEW."{ends}" > NEW."{begins}")'  # noqa: S608  (names of this project)
        f' AND EXISTS (SELECT 1 FROM "{table}" other WHERE other."{of}" = NEW."{of}" AND ({own}) AND other."id" <> NEW."id"'
        f' AND (other."{ends}" IS NULL OR (other."{ends}" > NEW."{begins}" AND other."{ends}" > other."{begins}"))'
        f' AND (NEW."{ends}" IS NULL OR other."{begins}" < NEW."{ends}"))'
    )
    create = {
        SQLITE: [
            f'CREATE TRIGGER "{full}_{event}" AFTER {event.upper()} ON "{table}" WHEN {clash}'
            f" BEGIN SELECT RAISE(ABORT, {text}); END"
            for event in ("insert", "update")
        ],
        POSTGRESQL: [
            f'ALTER TABLE "{table}" ADD CONSTRAINT "{full}" EXCLUDE USING gist (int8range("{of}", "{of}", \'[]\') WITH &&,'
            f' tstzrange("{begins}", "{ends}", \'[)\') WITH &&) WHERE ({live})'
        ],
    }
    drop = {
        SQLITE: [f'DROP TRIGGER IF EXISTS "{full}_{event}"' for event in ("insert", "update")],
        POSTGRESQL: [f'ALTER TABLE "{table}" DROP CONSTRAINT IF EXISTS "{full}"'],
    }
    return Guard(table, full, create, drop)


def all_guards() -> tuple[Guard, ...]:
    """The guards of every room, in the order of ``INSTALLED_APPS``."""
    modules = [
        importlib.import_module(f"{app.name}.guards")
        for app in apps.get_app_configs()
        if app.name != "shop" and app.module and module_has_submodule(app.module, "guards")
    ]
    return tuple(guard for module in modules for guard in module.GUARDS)


def install(using: str = "default") -> None:
    """Make every guard whose table exists; safe to repeat."""
    connection = connections[using]
    with transaction.atomic(using=using):
        for guard in _present(connection):
            _run(connection, guard.drop[connection.vendor])
            _run(connection, guard.create[connection.vendor])


def remove(using: str = "default") -> None:
    """Drop every guard, also those no room lists any more."""
    connection = connections[using]
    with transaction.atomic(using=using):
        for guard in _present(connection):
            _run(connection, guard.drop[connection.vendor])
        _run(connection, [drop for _name, drop in _objects(connection)])


@contextmanager
def lifted(using: str = "default") -> Iterator[None]:
    """Without guards inside, with them again after, whatever happened. For tests and repairs; never in a service."""
    remove(using)
    try:
        yield
    finally:
        install(using)


def missing(using: str = "default") -> list[str]:
    """Names of listed objects that are not in the database, as after a migrate that broke off."""
    connection = connections[using]
    listed = {
        name.replace('"', "")
        for guard in _present(connection)
        for statement in guard.create[connection.vendor]
        for name in re.findall(rf'\b{PREFIX}\w+(?:"?\(\))?', statement)
    }
    return sorted(listed - {name for name, _drop in _objects(connection)})


# -- signals and check, wired by JournalConfig ---------------------------------------------------------------------


def before_migrate(*, using: str, **_: Any) -> None:
    remove(using)


def after_migrate(*, using: str, **_: Any) -> None:
    install(using)


def on_connection(*, connection: BaseDatabaseWrapper, **_: Any) -> None:
    """Without this SQLite's INSERT OR REPLACE deletes the old row without asking its triggers."""
    if connection.vendor == SQLITE:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA recursive_triggers = ON")


def check_guards(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    return [
        CheckWarning(
            f"The guard {name} is missing from the database.",
            hint="A migrate broke off before its end. Run migrate again: it installs every guard.",
            id="guards.W001",
        )
        for alias in databases or ()
        for name in missing(alias)
    ]


# -- SQL -----------------------------------------------------------------------------------------------------------


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _function(name: str, body: str) -> str:
    return f'CREATE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN {body} END $guard$'


def _dropping(function: str, *, sqlite: Sequence[str]) -> Statements:
    return {
        SQLITE: [f'DROP TRIGGER IF EXISTS "{name}"' for name in sqlite],
        POSTGRESQL: [f'DROP FUNCTION IF EXISTS "{function}"() CASCADE'],
    }


def _present(connection: BaseDatabaseWrapper) -> list[Guard]:
    tables = set(connection.introspection.table_names())
    return [guard for guard in all_guards() if guard.table in tables]


def _run(connection: BaseDatabaseWrapper, statements: Sequence[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


NAMED_OBJECTS = {
    SQLITE: """
        SELECT name, 'DROP ' || type || ' "' || name || '"' FROM sqlite_master
        WHERE type IN ('trigger', 'index') AND name LIKE 'guard\\_%' ESCAPE '\\'
    """,
    # Constraints first: the index that belongs to one goes with it.
    POSTGRESQL: """
        SELECT conname, format('ALTER TABLE %I DROP CONSTRAINT IF EXISTS %I', relname, conname)
        FROM pg_constraint JOIN pg_class ON pg_class.oid = conrelid
        WHERE conname LIKE 'guard\\_%' AND connamespace = current_schema()::regnamespace AND contype <> 't'
        UNION ALL
        SELECT relname, format('DROP INDEX IF EXISTS %I', relname) FROM pg_class
        WHERE relkind = 'i' AND relname LIKE 'guard\\_%' AND relnamespace = current_schema()::regnamespace
        AND NOT EXISTS (SELECT 1 FROM pg_constraint WHERE conindid = pg_class.oid)
        UNION ALL
        SELECT tgname, format('DROP TRIGGER IF EXISTS %I ON %I', tgname, relname)
        FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid
        WHERE tgname LIKE 'guard\\_%' AND relnamespace = current_schema()::regnamespace
        UNION ALL
        SELECT proname || '()', format('DROP FUNCTION IF EXISTS %I() CASCADE', proname) FROM pg_proc
        WHERE proname LIKE 'guard\\_%' AND pronamespace = current_schema()::regnamespace
    """,
}


def _objects(connection: BaseDatabaseWrapper) -> list[tuple[str, str]]:
    """Name (of a function: with brackets) and DROP statement of everything in the database that a guard made."""
    with connection.cursor() as cursor:
        cursor.execute(NAMED_OBJECTS[connection.vendor])
        return list(cursor.fetchall())
