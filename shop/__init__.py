"""The shop: its settings and its facts.

Numpy is told to work in one thread, before anything imports it: its matrices are small here, and a process with threads of
its own cannot be copied for a PDF.

The SQLite module is swapped here, before anything imports Django's backend: system libraries from
3.7.0 to 3.51.2 can corrupt a database in WAL mode, and many machines still carry one.
"""

import os
import sqlite3
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

SAFE_SQLITE = (3, 51, 3)

if sqlite3.sqlite_version_info < SAFE_SQLITE:
    try:
        import pysqlite3
    except ImportError:  # no wheel for this platform: the system check in shop.checks refuses
        pass
    else:
        sys.modules["sqlite3"] = pysqlite3
        sys.modules["sqlite3.dbapi2"] = pysqlite3.dbapi2

from shop.celery import app as celery_app  # noqa: E402  (after the swap)

__all__ = ["celery_app"]
