"""Reads that belong together, as the database was at one moment, while others go on writing."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connections, transaction


@contextmanager
def one_moment(using: str = "default") -> Iterator[None]:
    """Every read inside sees the same moment, and nothing is written. Within a transaction that is open already, its own rules hold.

    PostgreSQL shows each statement what was committed before it, unless a transaction is told otherwise. SQLite shows a
    transaction one moment from its first read on; ours usually begin by asking for the right to write, which a look must not.
    """
    connection = connections[using]
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("ROLLBACK")
    else:
        with transaction.atomic(using=using):
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
