"""Functions the sweep runs to find what is stale or missing, and to publish rows that mend it.

A mender reads first and opens a transaction only to publish: on SQLite an open one holds up every writer.
"""

import logging
from datetime import datetime
from typing import Protocol

log = logging.getLogger("bareframe.outbox")


class Mender(Protocol):
    def __call__(self, *, now: datetime) -> object: ...


_menders: list[Mender] = []


def register(function: Mender) -> None:
    if function not in _menders:
        _menders.append(function)


def run(*, now: datetime) -> list[str]:
    """Run them all; one that fails does not keep the others from running. Returns what went wrong."""
    return [trouble for mender in _menders if (trouble := safely(mender, now=now))]


def safely(function: Mender, *, now: datetime) -> str:
    try:
        function(now=now)
    except Exception as error:
        name = f"{function.__module__}.{getattr(function, '__name__', type(function).__name__)}"
        log.exception("%s failed in the sweep.", name)
        return f"{name}: {error}"
    return ""
