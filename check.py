#!/usr/bin/env python3
"""Run all that must hold. Needs Python 3.11 and pip; the rest is set up in ``.venv-dev``.

    python3 check.py [--quick] [--long] [--no-skips] [--verbose]

A line for each step as it ends; what a step printed is shown when it failed. The last line counts the tests.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree

import start

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv-dev"
AT_ONCE = 2
STEP_LIMIT = 4800  # seconds after which a step counts as hung

POSTGRESQL, REDIS, CHROMIUM, OFFICE = "PostgreSQL", "Redis", "Chromium", "LibreOffice"
ON_THEIR_OWN = ("tests/shop/tree", "tests/faults", "tests/e2e", "tests/bench")


@dataclass(frozen=True)
class Step:
    """``tests`` are pytest arguments; ``command`` is run with the environment's Python otherwise."""

    name: str
    command: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    environment: dict[str, str] = field(default_factory=dict)
    quick: bool = False
    long: bool = False
    whole: bool = True  # False: the whole run has it within another step
    alone: bool = False  # its figures mean something only on a quiet machine
    shown: bool = False


PRODUCTION = {"BAREFRAME_HTTPS": "1", "BAREFRAME_HOSTS": "bareframe.test"}
ALL_BUT_THOSE = (
    "tests",
    *(f"--ignore={folder}" for folder in ON_THEIR_OWN),
    "-m",
    "not (redis or browser or office or long)",
)
DATABASE_TESTS = (*ALL_BUT_THOSE, "-p", "tests.shop.database_tests", "--database-tests", "only")
QUICKLY = (
    "-n",
    "2",
    "--ignore=tests/fixtures",
    "--ignore=tests/people",
    "--ignore=tests/papers",
    "--ignore=tests/pricing/test_adding_up.py",
    "--ignore=tests/outbox/test_loop.py",
)  # the slowest that change least
OTHER_TESTS = (*ALL_BUT_THOSE, "-p", "tests.shop.database_tests", "--database-tests", "none")

AT_LENGTH = {"BAREFRAME_LONG": "1"}  # ten thousand quotes, five hundred of them as PDF

STEPS = (
    Step("ruff check", ("-m", "ruff", "check", "."), quick=True),
    Step("ruff format", ("-m", "ruff", "format", "--check", "."), quick=True),
    Step("mypy", ("-m", "mypy", "shop", "quotes", "manage.py", "start.py", "check.py"), quick=True),
    Step("imports go down", ("-c", "from importlinter.cli import lint_imports_command as c; c()"), quick=True),
    Step("djlint", ("-m", "djlint", "--lint", "--quiet", "templates"), quick=True),
    Step("no migration is missing", ("manage.py", "makemigrations", "--check", "--dry-run"), quick=True),
    Step(
        "ready for production",
        ("manage.py", "check", "--deploy", "--fail-level", "WARNING"),
        environment=PRODUCTION,
        quick=True,
    ),
    # From here the longest first, so that both that run at once end together.
    Step("tests on PostgreSQL", tests=DATABASE_TESTS, needs=(POSTGRESQL,)),
    Step("tests on SQLite", tests=DATABASE_TESTS),
    Step("browser", tests=("tests", "-m", "browser and not long"), needs=(CHROMIUM,)),
    Step("most tests on SQLite", tests=(*DATABASE_TESTS, *QUICKLY), quick=True, whole=False),
    Step("engine and truth", tests=("tests/engine", "tests/truth", "-m", "not long"), quick=True, whole=False),
    Step("tests without a database", tests=OTHER_TESTS),
    Step("process tree", tests=("tests/shop/tree", "-m", "not long")),
    Step(
        "background jobs with Redis", tests=("tests", "--ignore=tests/e2e", "-m", "redis and not long"), needs=(REDIS,)
    ),
    Step("faults", tests=("tests/faults", "-m", "not (redis or long)"), needs=(POSTGRESQL, REDIS)),
    Step("spreadsheets", tests=("tests", "--ignore=tests/e2e", "-m", "office and not long"), needs=(OFFICE,)),
    Step(
        "long simulations", tests=("tests", "-m", "long"), needs=(POSTGRESQL, REDIS), long=True, environment=AT_LENGTH
    ),
    Step("benches", ("-m", "tests.bench"), needs=(POSTGRESQL, REDIS), alone=True, shown=True),
)


@dataclass
class Result:
    step: Step
    seconds: float = 0.0
    code: int = 0
    output: str = ""
    passed: int = 0
    failed: int = 0
    skips: list[str] = field(default_factory=list)
    not_run: str = ""

    def broken(self, *, no_skips: bool) -> bool:
        return bool(self.code or self.failed or (no_skips and (self.skips or self.not_run)))


# -- services of our own, thrown away afterwards -------------------------------------------------------------------


class AbsentError(Exception):
    """A service cannot be had on this machine; the text says why."""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def postgresql_programs() -> Path | None:
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    found = str(debian[-1]) if debian else shutil.which("initdb")
    return Path(found).parent if found else None


@contextlib.contextmanager
def postgresql(folder: Path) -> Iterator[str]:
    """A cluster that lives in memory where it can: so it may keep every safety setting on and still be quick."""
    programs = postgresql_programs()
    if not programs:
        raise AbsentError("the program initdb is not there")
    memory = Path("/dev/shm")
    in_memory = memory.is_dir() and shutil.disk_usage(memory).free > 2**30
    where = Path(tempfile.mkdtemp(prefix="bareframe-pg-", dir=memory if in_memory else folder))
    user: list[str] = []
    if os.geteuid() == 0:  # PostgreSQL refuses to be run by root
        account = pwd.getpwnam("postgres")
        os.chown(where, account.pw_uid, account.pw_gid)
        user = ["runuser", "-u", "postgres", "--"]
    port, data = free_port(), str(where / "data")
    settings = f"-p {port} -k {where} -h 127.0.0.1 -c shared_buffers=64MB -c max_connections=60"
    control = [*user, str(programs / "pg_ctl"), "-D", data]
    quiet(
        *user,
        str(programs / "initdb"),
        "-D",
        data,
        "-U",
        "postgres",
        "-A",
        "trust",
        "-E",
        "UTF8",
        "--locale",
        "C.UTF-8",
    )
    quiet(*control, "-o", settings, "-l", str(where / "log"), "-w", "start")
    try:
        yield f"postgres://postgres@127.0.0.1:{port}/"
    finally:
        quiet(*control, "-m", "immediate", "-w", "stop")
        shutil.rmtree(where, ignore_errors=True)


@contextlib.contextmanager
def redis(folder: Path) -> Iterator[str]:
    program = shutil.which("redis-server")
    if not program:
        raise AbsentError("the program redis-server is not there")
    port = free_port()
    command = [program, "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
    with subprocess.Popen(
        [*command, "--dir", str(folder)], stdout=subprocess.DEVNULL, start_new_session=True
    ) as server:
        try:
            wait_for(port)
            yield f"redis://127.0.0.1:{port}/0"
        finally:
            server.terminate()


@contextlib.contextmanager
def chromium(_folder: Path) -> Iterator[str]:
    found = shutil.which("chromium")
    if not found:
        raise AbsentError("the program chromium is not there")
    yield found


@contextlib.contextmanager
def office(_folder: Path) -> Iterator[str]:
    found = shutil.which("soffice")
    if not found:
        raise AbsentError("the program soffice is not there")
    yield found


def wait_for(port: int) -> None:
    end = time.monotonic() + 15
    while time.monotonic() < end:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.05)
    raise SystemExit(f"Nothing answers on port {port}.")


def quiet(*command: str) -> None:
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, cwd="/")
    if done.returncode:
        sys.exit(f"{' '.join(command)}\n{done.stdout.decode()}")


SERVICES = {POSTGRESQL: postgresql, REDIS: redis, CHROMIUM: chromium, OFFICE: office}
VARIABLES = {
    POSTGRESQL: "BAREFRAME_TEST_POSTGRES",
    REDIS: "BAREFRAME_TEST_REDIS",
}


# -- one step ------------------------------------------------------------------------------------------------------


class Runner:
    def __init__(self, folder: Path, services: dict[str, str], absent: dict[str, str]) -> None:
        self._folder = folder
        self._services, self._absent = services, absent
        self._running: set[subprocess.Popen[bytes]] = set()
        self._lock = threading.Lock()

    def run(self, step: Step) -> Result:
        result = Result(step)
        if reason := self._why_not(step):
            result.not_run = reason
            return result
        home = self._folder / step.name.replace(" ", "-").replace(",", "")
        home.mkdir()
        report = home / "report.xml"
        began = time.monotonic()
        result.code, result.output = self._execute(self._command(step, report), self._environment(step, home))
        result.seconds = time.monotonic() - began
        if step.tests:
            read_report(report, result)
        return result

    def _why_not(self, step: Step) -> str:
        absent = [self._absent[need] for need in step.needs if need in self._absent]
        paths = [word for word in step.tests if word.startswith("tests/")]
        if not absent and paths and not any((ROOT / path).exists() for path in paths):
            return "nothing there yet"
        return ", ".join(absent)

    def _command(self, step: Step, report: Path) -> list[str]:
        python = str(VENV / "bin" / "python")
        if step.command:
            return [python, *step.command]
        there = [word for word in step.tests if not word.startswith("tests/") or (ROOT / word).exists()]
        return [python, "-m", "pytest", *there, f"--junitxml={report}"]

    def _environment(self, step: Step, home: Path) -> dict[str, str]:
        """Nothing of the caller's own shop reaches a step, and no two steps share a folder or a database."""
        clean = {name: value for name, value in os.environ.items() if not name.startswith(("BAREFRAME_", "DJANGO_"))}
        # Hundreds of processes are started: without what was compiled once, each compiles the whole project again.
        clean.pop("PYTHONDONTWRITEBYTECODE", None)
        clean |= {"BAREFRAME_HOME": str(home)}
        clean |= {VARIABLES[name]: where for name, where in self._services.items() if name in VARIABLES}
        if step.tests or step.command[-1] == "tests.bench":
            clean["BAREFRAME_TESTING"] = "1"
        if "PostgreSQL" in step.name:
            clean["BAREFRAME_DATABASE"] = self._services[POSTGRESQL] + "bareframe"
        return clean | step.environment

    def _execute(self, command: list[str], environment: dict[str, str]) -> tuple[int, str]:
        process = subprocess.Popen(
            command,
            cwd=ROOT,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        with self._lock:
            self._running.add(process)
        try:
            output, _ = process.communicate(timeout=STEP_LIMIT)
        except subprocess.TimeoutExpired:
            end_group(process)
            output = process.communicate()[0] + f"\nended after {STEP_LIMIT} s: it hung\n".encode()
        finally:
            end_group(process)
            with self._lock:
                self._running.discard(process)
        return process.returncode, output.decode(errors="replace")

    def end(self) -> None:
        with self._lock:
            for process in self._running:
                end_group(process)


def end_group(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)


def read_report(path: Path, result: Result) -> None:
    if not path.exists():  # pytest itself broke: its exit code says so
        result.failed += 1
        return
    for case in ElementTree.parse(path).iter("testcase"):
        name = f"{case.get('classname', '')}::{case.get('name', '')}"
        if case.find("failure") is not None or case.find("error") is not None:
            result.failed += 1
        elif (skip := case.find("skipped")) is not None:
            result.skips.append(f"{name}: {skip.get('message', '')}")
        else:
            result.passed += 1
    if result.code == 5 and not (result.passed or result.failed or result.skips):  # pytest: nothing collected
        result.code, result.not_run = 0, "no test there yet"


# -- all steps -----------------------------------------------------------------------------------------------------


def chosen(options: argparse.Namespace) -> list[Step]:
    if options.quick:
        return [step for step in STEPS if step.quick]
    return [step for step in STEPS if step.whole and (options.long or not step.long)]


def run_all(steps: list[Step], runner: Runner, options: argparse.Namespace) -> list[Result]:
    results = []
    for group in ([s for s in steps if not s.alone], [s for s in steps if s.alone]):
        with ThreadPoolExecutor(max_workers=1 if group and group[0].alone else AT_ONCE) as pool:
            for future in as_completed([pool.submit(runner.run, step) for step in group]):
                results.append(future.result())
                tell(results[-1], options)
    return results


def tell(result: Result, options: argparse.Namespace) -> None:
    broken = result.broken(no_skips=options.no_skips)
    word = "FAILED" if broken else "not run" if result.not_run else "ok"
    counts = f"  {result.passed} passed" if result.step.tests and not result.not_run else ""
    print(f"{word:>8} {result.seconds:7.1f} s  {result.step.name}{counts}", flush=True)
    if result.output and (broken or options.verbose or result.step.shown):
        print("\n".join(f"    {line}" for line in result.output.rstrip().splitlines()), flush=True)


def close(results: list[Result], options: argparse.Namespace) -> int:
    """The last lines: what was not run and why, what failed, and the count."""
    for result in results:
        if result.not_run:
            print(f"Not run: {result.step.name} ({result.not_run})")
        for skip in result.skips:
            print(f"Skipped: {skip}")
    broken = [result.step.name for result in results if result.broken(no_skips=options.no_skips)]
    if broken:
        print(f"Failed: {', '.join(broken)}")
    skipped = sum(len(result.skips) for result in results)
    line = f"{sum(r.passed for r in results)} passed, {sum(r.failed for r in results)} failed"
    print(line + (f", {skipped} skipped" if skipped else ""), flush=True)
    return 1 if broken else 0


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Run all that must hold.", allow_abbrev=False)
    parser.add_argument("--quick", action="store_true", help="a minute and a half: style, types, and tests on SQLite")
    parser.add_argument("--long", action="store_true", help="the long simulations too")
    parser.add_argument("--no-skips", action="store_true", help="what could not be run counts as failed")
    parser.add_argument("--verbose", action="store_true", help="show what every step printed")
    return parser.parse_args()


def main() -> int:
    start.refuse_old_python()
    asked = options()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("ended from outside"))
    start.prepare(VENV, ROOT / "requirements-dev.txt")
    steps = chosen(asked)
    with contextlib.ExitStack() as kept:
        folder = Path(kept.enter_context(tempfile.TemporaryDirectory(prefix="bareframe-check-")))
        folder.chmod(0o755)
        needed = {need for step in steps for need in step.needs}
        services, absent = {}, {}
        for need in sorted(needed):
            try:
                services[need] = kept.enter_context(SERVICES[need](folder))
            except AbsentError as reason:
                absent[need] = str(reason)
        runner = Runner(folder, services, absent)
        kept.callback(runner.end)
        return close(run_all(steps, runner, asked), asked)


if __name__ == "__main__":
    sys.exit(main())
