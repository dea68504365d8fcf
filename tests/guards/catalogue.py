"""What the database itself says about our tables: constraints, indexes and triggers, one line each."""

import re

from django.apps import apps
from django.db import connection

POSTGRESQL = """
    SELECT relname, CASE contype WHEN 'x' THEN 'exclusion' ELSE 'constraint' END, conname, pg_get_constraintdef(c.oid)
    FROM pg_constraint c JOIN pg_class t ON t.oid = conrelid WHERE contype <> 't'
    UNION ALL
    SELECT tablename, 'index', indexname, indexdef FROM pg_indexes
    WHERE schemaname = current_schema() AND indexname NOT IN (SELECT conname FROM pg_constraint)
    UNION ALL
    SELECT relname, 'trigger', tgname, pg_get_triggerdef(g.oid) || ' ' || prosrc
    FROM pg_trigger g JOIN pg_class t ON t.oid = tgrelid JOIN pg_proc p ON p.oid = tgfoid WHERE NOT tgisinternal
"""
SQLITE = "SELECT tbl_name, type, name, sql FROM sqlite_master WHERE sql IS NOT NULL"


def lines() -> list[str]:
    ours = {
        model._meta.db_table
        for app in apps.get_app_configs()
        if app.name.split(".")[0] in {"shop", "quotes"}
        for model in app.get_models(include_auto_created=True)
    }
    with connection.cursor() as cursor:
        cursor.execute(POSTGRESQL if connection.vendor == "postgresql" else SQLITE)
        rows = [row for row in cursor.fetchall() if row[0] in ours]
    found = []
    for table, kind, name, definition in rows:
        if kind == "table":
            found += [f"{table} | constraint | {clause}" for clause in clauses(definition)]
        else:
            found.append(f"{table} | {kind} | {name} | {_one_line(definition)}")
    return sorted(found)


def clauses(create: str) -> list[str]:
    """The clauses of a CREATE TABLE that refuse something: SQLite has no catalogue of its constraints."""
    body = create[create.index("(") + 1 : create.rindex(")")]
    parts, depth, start, quoted = [], 0, 0, False
    for at, letter in enumerate(body):
        quoted ^= letter == "'"
        if not quoted:
            depth += (letter == "(") - (letter == ")")
            if letter == "," and depth == 0:
                parts.append(body[start:at])
                start = at + 1
    parts.append(body[start:])
    return [_one_line(part) for part in parts if re.search(r"\b(CHECK|UNIQUE|REFERENCES|PRIMARY KEY)\b", part)]


def _one_line(text: str) -> str:
    return " ".join(text.split())
