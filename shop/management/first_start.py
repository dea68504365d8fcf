"""What a start does before it serves; what needs no doing is skipped, so that later starts are quick."""

import hashlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connections
from django.db.migrations.executor import MigrationExecutor

from shop.people.accounts import new_password
from shop.people.models import User
from shop.people.roles import ROLES
from shop.people.services import add_person

Say = Callable[[str], None]


def prepare(*, empty: bool, say: Say) -> None:
    stamp, made_of = settings.HOME / "prepared-from", tree_state()
    changed = not stamp.is_file() or stamp.read_text(encoding="ascii") != made_of
    prepare_database(changed=changed, empty=empty, say=say)
    if changed or not (settings.STATIC_ROOT / "staticfiles.json").is_file():
        say("Collecting static files ...")
        call_command("collectstatic", interactive=False, clear=True, verbosity=0)
        stamp.write_text(made_of, encoding="ascii")
    fill(empty=empty, say=say)


def prepare_database(*, changed: bool, empty: bool, say: Say) -> None:
    """Migrate when migrations wait or the code changed: the guards are installed anew with it."""
    executor = MigrationExecutor(connections["default"])
    if not executor.loader.applied_migrations:
        first_start().write_text("empty" if empty else "demo", encoding="ascii")
    if changed or executor.migration_plan(executor.loader.graph.leaf_nodes()):
        say("Preparing the database ...")
        call_command("migrate", interactive=False, verbosity=0)


def fill(*, empty: bool, say: Say) -> None:
    """Finish a first start, also one that was cut short: its marker goes only when all is there."""
    marker = first_start()
    if not marker.exists():
        if empty:
            say("This shop was begun before: --empty changes nothing in it.")
        return
    if marker.read_text(encoding="ascii") == "demo":
        say("Loading the example workshop ...")
        call_command("demo")
    elif not User.objects.exists():
        add_manager(say=say)
    marker.unlink()


def add_manager(*, say: Say) -> None:
    password = new_password()
    add_person(username="manager", name="Manager", password=password, roles=ROLES)
    say("An empty shop. Sign in as")
    say(f"  manager   {password}")
    say("This password is shown only now: note it, or change it after signing in.")
    say("The first page asks five questions, then a price can be made.")


def first_start() -> Path:
    home: Path = settings.HOME
    return home / "first-start-unfinished"


def tree_state() -> str:
    """Changes whenever a file does from which the database's guards or the static files are made."""
    state = hashlib.sha256(repr((settings.STORAGES, settings.DATABASES["default"]["ENGINE"])).encode())
    for path in sorted(_files()):
        about = path.stat()
        state.update(f"{path} {about.st_size} {about.st_mtime_ns}\n".encode())
    return state.hexdigest()


def _files() -> Iterator[Path]:
    yield settings.BASE_DIR / "requirements.txt"
    for top in ("shop", "quotes", "static"):
        for folder, folders, names in os.walk(settings.BASE_DIR / top):
            folders[:] = [name for name in folders if name != "__pycache__"]
            yield from (Path(folder, name) for name in names)
