"""What must be true of the machine before the shop is trusted to it. ``up`` refuses to serve on an error."""

import ctypes
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.core.checks import Warning as CheckWarning
from django.db import connections
from django.db.backends.sqlite3 import base as sqlite_backend

TAG = "bareframe"

# What WeasyPrint loads, and the Debian package that brings it; start.py installs the same.
PDF_LIBRARIES = {
    "libpango-1.0.so.0": "libpango-1.0-0",
    "libpangoft2-1.0.so.0": "libpangoft2-1.0-0",
    "libharfbuzz-subset.so.0": "libharfbuzz-subset0",
}

# How each is asked, and which answers keep what was saved through a power cut.
SAFE_SETTINGS: dict[str, dict[str, set[object]]] = {
    "sqlite": {"PRAGMA journal_mode": {"wal"}, "PRAGMA synchronous": {2}, "PRAGMA foreign_keys": {1}},
    "postgresql": {
        "SHOW fsync": {"on"},
        "SHOW full_page_writes": {"on"},
        "SHOW synchronous_commit": {"local", "remote_write", "on", "remote_apply"},
    },
}


def keeps_write_ahead_log(version: Sequence[int]) -> bool:
    """Whether this SQLite is free of the bug that can corrupt a database when its write-ahead log is reset.

    It came with 3.7.0 and was mended in 3.51.3, 3.50.7 and 3.44.6 (sqlite.org/wal.html#walresetbug).
    """
    v = tuple(version)
    return v < (3, 7) or v >= (3, 51, 3) or (3, 50, 7) <= v < (3, 51) or (3, 44, 6) <= v < (3, 45)


@register(TAG, Tags.compatibility)
def check_sqlite_library(**_: Any) -> list[CheckMessage]:
    if connections["default"].vendor != "sqlite":
        return []
    library: Any = sqlite_backend.Database  # type: ignore[attr-defined] # the one in use
    if keeps_write_ahead_log(library.sqlite_version_info):
        return []
    return [
        Error(
            f"SQLite {library.sqlite_version} can corrupt the database (its write-ahead-log reset bug).",
            hint="Use Python with SQLite 3.51.3 or newer, install the pysqlite3 package, or use PostgreSQL.",
            id="bareframe.E001",
        )
    ]


@register(TAG, Tags.database)
def check_database_settings(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Read back what is in force, rather than trust what was asked for."""
    messages: list[CheckMessage] = []
    for alias in databases or ():
        for question, safe in SAFE_SETTINGS.get(connections[alias].vendor, {}).items():
            with connections[alias].cursor() as cursor:
                cursor.execute(question)
                found = cursor.fetchone()[0]
            if found not in safe:
                messages.append(_not_safe(alias, question.split()[1], found))
    return messages


def _not_safe(alias: str, name: str, found: object) -> CheckMessage:
    return Error(
        f"The database '{alias}' runs with {name} = {found}; a power cut could lose or break what was saved.",
        hint="Set it back. SQLite on a network disk cannot do without such settings: keep it on a local one.",
        id="bareframe.E002",
    )


@register(TAG, Tags.compatibility)
def check_pdf_libraries(**_: Any) -> list[CheckMessage]:
    missing = [package for library, package in PDF_LIBRARIES.items() if not _loads(library)]
    if not missing:
        return []
    return [
        CheckWarning(
            "PDFs cannot be made: system libraries are missing.",
            hint=f"As root: apt-get update && apt-get install -y --no-install-recommends {' '.join(missing)}",
            id="bareframe.W003",
        )
    ]


def _loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


@register(TAG, Tags.compatibility)
def check_currency(**_: Any) -> list[CheckMessage]:
    from quotes.engine.money import MINOR_UNITS

    if not settings.CURRENCY or settings.CURRENCY in MINOR_UNITS:
        return []
    return [
        Error(
            f"BAREFRAME_CURRENCY is {settings.CURRENCY!r}, which ISO 4217 does not know as a currency in use.",
            hint="Give its three capital letters, such as EUR or GBP.",
            id="bareframe.E004",
        )
    ]


@register(TAG, Tags.database)
def check_one_currency(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """The settings may name a currency, but not another one than that in which the shop's amounts are kept."""
    if "default" not in (databases or ()) or not settings.CURRENCY:
        return []
    kept = _currency_kept()
    if kept in {"", settings.CURRENCY}:
        return []
    return [
        Error(
            f"BAREFRAME_CURRENCY is {settings.CURRENCY}, but the amounts of this shop are in {kept}.",
            hint=f"Set BAREFRAME_CURRENCY={kept}, or leave it empty.",
            id="bareframe.E005",
        )
    ]


def _currency_kept() -> str:
    """What the shop said, else what its quotes were issued in; empty in a database that is not prepared yet."""
    connection = connections["default"]
    there = set(connection.introspection.table_names())
    asked = {
        "people_shop": "SELECT currency FROM people_shop WHERE currency <> ''",
        "pricing_issuedquote": "SELECT currency FROM pricing_issuedquote LIMIT 1",
    }
    with connection.cursor() as cursor:
        for table, question in asked.items():
            if table not in there:
                continue
            cursor.execute(question)
            if row := cursor.fetchone():
                return str(row[0])
    return ""
