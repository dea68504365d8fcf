"""The process tree, with real processes and real signals."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.shop.tree.processes import alive, wait_for

ROOT = Path(__file__).resolve().parents[3]

# Runs three children; each notes its number and has a helper process of its own.
SUPERVISOR = """
import sys
from pathlib import Path
from shop import supervisor
from shop.supervisor import Child, Supervisor

folder, body, patience = Path(sys.argv[1]), sys.argv[2], float(sys.argv[3])
supervisor.PATIENCE = patience

def child(name, **environment):
    return Child(name, (sys.executable, "-c", body, str(folder), name), folder, environment)

def renew():
    due = folder / "renew"
    if not due.exists():
        return []
    due.unlink()
    return [child("one", RENEWED="yes")]

children = [child("one"), child("two"), child("three")]
Supervisor(children, say=lambda line: print(line, flush=True), renew=renew, renew_every=0.3).run()
"""

OBEYS = """
import os, subprocess, sys, time
from pathlib import Path
if sys.argv[2] != "helper":
    subprocess.Popen([sys.executable, "-c", "import time; time.sleep(300)", sys.argv[1], "helper"])
    Path(sys.argv[1], f"{sys.argv[2]}.{os.getpid()}").touch()
time.sleep(300)
"""
TIDIES_UP = (
    "import pathlib, signal, sys\n"
    "def tidy(*_): pathlib.Path(sys.argv[1], 'tidied').touch(); raise SystemExit\n"
    "signal.signal(signal.SIGTERM, tidy)\n"
) + OBEYS
REFUSES = "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN)\n" + OBEYS
DIES = "raise SystemExit(3)"


@pytest.fixture
def begin(tmp_path: Path) -> Iterator[Callable[..., "subprocess.Popen[str]"]]:
    started: list[subprocess.Popen[str]] = []

    def run(body: str, *, patience: float = 15) -> "subprocess.Popen[str]":
        command = [sys.executable, "-c", SUPERVISOR, str(tmp_path), body, str(patience)]
        process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        started.append(process)
        return process

    yield run
    for number in alive(tmp_path):
        os.kill(number, signal.SIGKILL)
    for process in started:
        process.communicate()


def children(folder: Path) -> dict[str, int]:
    """The last process of each child that said it runs."""
    notes = sorted(folder.glob("*.*"), key=lambda note: note.stat().st_mtime_ns)
    return {note.stem: int(note.suffix[1:]) for note in notes}


def until_up(folder: Path) -> dict[str, int]:
    wait_for(lambda: len(children(folder)) == 3 and len(alive(folder)) == 7, seconds=10)
    return children(folder)


def test_a_dead_child_is_started_again_and_its_helpers_go_with_it(begin, tmp_path):
    begin(OBEYS)
    first = until_up(tmp_path)["two"]
    os.kill(first, signal.SIGKILL)
    assert wait_for(lambda: children(tmp_path)["two"] != first, seconds=5) < 2
    # One supervisor, three children, three helpers: the dead child's helper is not among them.
    wait_for(lambda: len(alive(tmp_path)) == 7, seconds=2)


def test_one_that_dies_at_once_is_tried_again_ever_more_slowly(begin, tmp_path):
    process = begin(DIES)
    lines = [line for line in (process.stdout.readline() for _ in range(9)) if line.startswith("one")]
    assert [line.split("again in ")[1].strip() for line in lines] == ["0.5 s", "1 s", "2 s"]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_ends_all_of_it(begin, tmp_path, number):
    process = begin(OBEYS)
    until_up(tmp_path)
    process.send_signal(number)
    assert process.wait(timeout=5) == 0
    assert alive(tmp_path) == []


def test_what_was_told_to_ignore_a_hang_up_does(begin, tmp_path):
    """As ``nohup`` does it."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        process = begin(OBEYS)
    finally:
        signal.signal(signal.SIGHUP, before)
    until_up(tmp_path)
    process.send_signal(signal.SIGHUP)
    with pytest.raises(subprocess.TimeoutExpired):
        process.wait(timeout=1)
    process.terminate()
    process.wait(timeout=5)


def test_a_child_that_will_not_end_is_killed_when_patience_is_over(begin, tmp_path):
    process = begin(REFUSES, patience=1.5)
    until_up(tmp_path)
    process.terminate()
    assert wait_for(lambda: process.poll() is not None, seconds=10) >= 1.4
    assert alive(tmp_path) == []


def test_a_second_signal_does_not_wait(begin, tmp_path):
    process = begin(REFUSES, patience=60)
    until_up(tmp_path)
    process.send_signal(signal.SIGINT)
    wait_for(lambda: "Ending" in process.stdout.readline(), seconds=2)
    process.send_signal(signal.SIGINT)
    process.wait(timeout=5)
    assert alive(tmp_path) == []


@pytest.mark.parametrize("body", [OBEYS, REFUSES])
def test_kill_9_of_the_supervisor_leaves_nothing(begin, tmp_path, body):
    process = begin(body)
    until_up(tmp_path)
    process.kill()
    process.wait()
    wait_for(lambda: alive(tmp_path) == [], seconds=10)


def test_after_kill_9_of_the_supervisor_its_children_may_still_tidy_up(begin, tmp_path):
    process = begin(TIDIES_UP)
    until_up(tmp_path)
    process.kill()
    wait_for(lambda: (tmp_path / "tidied").exists(), seconds=2)


def test_the_leash_that_guards_against_this_is_itself_kept_alive(begin, tmp_path):
    process = begin(REFUSES)
    until_up(tmp_path)
    (leash,) = leashes_of(process.pid)
    os.kill(leash, signal.SIGKILL)
    wait_for(lambda: leashes_of(process.pid) not in ([], [leash]), seconds=5)
    process.kill()
    process.wait()
    wait_for(lambda: alive(tmp_path) == [], seconds=10)


def leashes_of(parent: int) -> list[int]:
    def is_child(number: int) -> bool:
        try:
            return int(Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[1]) == parent
        except OSError:
            return False

    return [number for number in alive("leash.py") if is_child(number)]


def test_a_child_that_must_run_differently_is_replaced_and_the_others_stay(begin, tmp_path):
    begin(OBEYS)
    before = until_up(tmp_path)
    (tmp_path / "renew").touch()
    wait_for(lambda: children(tmp_path)["one"] != before["one"], seconds=5)
    after = children(tmp_path)
    assert b"RENEWED=yes" in Path(f"/proc/{after['one']}/environ").read_bytes()
    assert (after["two"], after["three"]) == (before["two"], before["three"])
