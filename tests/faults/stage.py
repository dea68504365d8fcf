"""What a fault run plays on: a database of its own, a folder of its own, and if wanted a Redis of its own."""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from urllib.parse import urlsplit

import psycopg

POSTGRES = os.environ.get("BAREFRAME_TEST_POSTGRES", "postgres://root@127.0.0.1:5432/")

TABLES = {
    "sqlite": [
        "CREATE TABLE fault_business (key varchar(60) PRIMARY KEY)",
        "CREATE TABLE fault_effect (id integer PRIMARY KEY AUTOINCREMENT, key varchar(60), run varchar(20))",
    ],
    "postgresql": [
        "CREATE TABLE fault_business (key varchar(60) PRIMARY KEY)",
        "CREATE TABLE fault_effect (id serial PRIMARY KEY, key varchar(60), run varchar(20))",
    ],
}


def postgres_trouble() -> str:
    """Why the PostgreSQL of the tests cannot be used; empty when it can."""
    try:
        with psycopg.connect(POSTGRES, dbname="postgres", connect_timeout=3):
            return ""
    except psycopg.Error as error:
        return f"no PostgreSQL at {urlsplit(POSTGRES).hostname} (BAREFRAME_TEST_POSTGRES): {error}"


@contextlib.contextmanager
def home(engine: str, redis: str) -> Iterator[Path]:
    """A folder and an empty database, named in the environment before Django is set up."""
    signal.signal(signal.SIGTERM, _leave)
    folder = Path(tempfile.mkdtemp(prefix="fault-"))
    name = f"bareframe_fault_{os.getpid()}"
    try:
        if engine == "postgres":
            _admin(f"CREATE DATABASE {name}")
        url = f"sqlite:///{folder / 'db.sqlite3'}" if engine == "sqlite" else f"{POSTGRES.rstrip('/')}/{name}"
        os.environ |= {
            "BAREFRAME_HOME": str(folder),
            "BAREFRAME_DATABASE": url,
            "BAREFRAME_TESTING": "1",
            "BAREFRAME_REDIS": redis,
            "DJANGO_SETTINGS_MODULE": "shop.settings",
        }
        yield folder
    finally:
        if engine == "postgres":
            _admin(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        shutil.rmtree(folder, ignore_errors=True)


def _leave(_number: int, _frame: FrameType | None) -> None:
    raise SystemExit("ended from outside")


def _admin(statement: str) -> None:
    with psycopg.connect(POSTGRES, dbname="postgres", autocommit=True) as connection:
        connection.execute(statement.encode())


def build() -> None:
    """Tables straight from the models, as in other tests, and the two that a run counts in; and load what workers load,
    so that forks start at once.
    """
    import django

    django.setup()
    from django.apps import apps
    from django.conf import settings
    from django.core.management import call_command
    from django.db import connection, connections

    from shop.outbox.signals import background_starts

    background_starts.send(sender=None)
    settings.MIGRATION_MODULES = {app.label: None for app in apps.get_app_configs()}
    call_command("migrate", run_syncdb=True, verbosity=0)
    with connection.cursor() as cursor:
        for statement in TABLES[connection.vendor]:
            cursor.execute(statement)
    connections.close_all()


def leave_database() -> None:
    """Before it is dropped."""
    from django.db import connections

    connections.close_all()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def wait_for(port: int) -> None:
    end = time.monotonic() + 30
    while time.monotonic() < end:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.05)
    raise RuntimeError(f"nothing answers on port {port}")


class Redis:
    """A redis-server that keeps nothing: when it is killed, all it held is gone."""

    def __init__(self) -> None:
        self.port = free_port()
        self.folder = tempfile.mkdtemp(prefix="fault-redis-")
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        command = ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
        self.process = subprocess.Popen([*command, "--dir", self.folder], stdout=subprocess.DEVNULL)
        wait_for(self.port)

    def kill(self) -> None:
        if self.process:
            self.process.kill()
            self.process.wait()

    def flush(self) -> None:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=1) as plain:
            plain.sendall(b"FLUSHALL\r\n")
            plain.recv(100)

    def close(self) -> None:
        self.kill()
        shutil.rmtree(self.folder, ignore_errors=True)
