"""What must be true of the machine: the checks say so when it is not."""

import os
import subprocess
import sys

import pytest
from django.conf import settings as in_force
from django.core.checks import run_checks
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import connection
from django.db.backends.sqlite3 import base as sqlite_backend

import start
from shop import checks


def said(**options: object) -> list[str]:
    return [message.id for message in run_checks(tags=[checks.TAG], **options)]


@pytest.mark.django_db
def test_this_machine_and_its_database_are_fit():
    assert said(databases=["default"]) == []


@pytest.mark.parametrize(
    ("version", "safe"),
    [
        # sqlite.org/wal.html#walresetbug and the release log: broken from 3.7.0, mended in these and later ones.
        ((3, 6, 23), True),
        ((3, 7, 0), False),
        ((3, 40, 1), False),
        ((3, 44, 5), False),
        ((3, 44, 6), True),
        ((3, 45, 0), False),
        ((3, 50, 6), False),
        ((3, 50, 7), True),
        ((3, 51, 0), False),
        ((3, 51, 2), False),
        ((3, 51, 3), True),
        ((3, 52, 0), True),
    ],
)
def test_the_libraries_that_can_corrupt_a_database_are_known(version, safe):
    assert checks.keeps_write_ahead_log(version) is safe


def test_an_affected_library_is_refused_where_it_would_be_used(monkeypatch):
    monkeypatch.setattr(sqlite_backend.Database, "sqlite_version_info", (3, 40, 1))
    if connection.vendor == "sqlite":
        assert said() == ["bareframe.E001"]
        with pytest.raises(SystemCheckError, match="can corrupt the database"):
            call_command("check")
    else:
        assert said() == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    "careless",
    {
        "sqlite": ["PRAGMA synchronous = NORMAL", "PRAGMA foreign_keys = OFF", "PRAGMA journal_mode = DELETE"],
        "postgresql": ["SET synchronous_commit = off"],
    }[connection.vendor],
)
def test_settings_that_could_lose_what_was_saved_are_refused(careless):
    try:
        with connection.cursor() as cursor:
            cursor.execute(careless)
        assert said(databases=["default"]) == ["bareframe.E002"]
    finally:
        connection.close()  # the next one is set up properly again
    assert said(databases=["default"]) == []


def test_missing_pdf_libraries_are_told_with_the_line_that_brings_them(monkeypatch):
    monkeypatch.setitem(checks.PDF_LIBRARIES, "libabsent.so.9", "libabsent9")
    (message,) = run_checks(tags=[checks.TAG])
    assert message.id == "bareframe.W003"
    assert message.hint.endswith("apt-get install -y --no-install-recommends libabsent9")


def test_start_and_check_look_for_the_same_pdf_libraries():
    assert start.PDF_LIBRARIES == checks.PDF_LIBRARIES


@pytest.mark.parametrize("code", ["EURO", "eur", "XXQ"])
def test_an_unknown_currency_is_refused(settings, code):
    settings.CURRENCY = code
    assert said() == ["bareframe.E004"]


@pytest.mark.parametrize("code", ["JPY", ""])
def test_a_known_one_and_none_yet_are_not(settings, code):
    settings.CURRENCY = code
    assert said() == []


def test_nothing_asks_for_the_currency_before_there_is_a_database(tmp_path):
    """Forms are read with the addresses, before the first migration."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("BAREFRAME_")}
    command = [sys.executable, "manage.py", "check"]
    environment["BAREFRAME_HOME"] = str(tmp_path)
    done = subprocess.run(command, cwd=in_force.BASE_DIR, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
