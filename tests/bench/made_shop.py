"""A shop in this process and nowhere else: a database of its own on either engine, thrown away afterwards."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def made_shop() -> Iterator[None]:
    """Django set up over an empty test database of ``BAREFRAME_DATABASE``, else of SQLite. Once for each process."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"BAREFRAME_TESTING": "1", "DJANGO_SETTINGS_MODULE": "shop.settings", "BAREFRAME_HOME": folder}
        import django

        django.setup()
        from django.conf import settings
        from django.db import connection
        from django.test.utils import setup_test_environment

        Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)
        setup_test_environment()
        name = connection.settings_dict["NAME"]
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        try:
            yield
        finally:
            connection.creation.destroy_test_db(name, verbosity=0)


def with_both_engines(module: str) -> Iterator[str]:
    """The lines ``module`` prints when it is run over SQLite, and over PostgreSQL where one is at hand."""
    import subprocess
    import sys

    database = os.environ.get("BAREFRAME_DATABASE", "")
    for engine, url in {"SQLite": "", "PostgreSQL": database}.items():
        if engine == "PostgreSQL" and not url.startswith("postgres"):
            continue
        environment = {key: value for key, value in os.environ.items() if key != "BAREFRAME_DATABASE"}
        if url:
            environment["BAREFRAME_DATABASE"] = url
        ran = subprocess.run(
            [sys.executable, "-m", module], env=environment, capture_output=True, text=True, check=False
        )
        yield from (f"{engine}: {line}" for line in ran.stdout.splitlines())
        if "AssertionError" in ran.stderr:
            raise AssertionError(ran.stderr)
        if ran.returncode:  # a machine that is too small or too busy for it is no fault of what is measured
            last = (ran.stderr.strip().splitlines() or [f"ended with {ran.returncode}"])[-1]
            yield f"{engine}: NOT MEASURED, {module} broke off: {last}"
