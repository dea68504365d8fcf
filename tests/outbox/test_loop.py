"""The background process of a shop without a broker, as a process of its own."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connections
from django.utils import timezone

from shop.outbox import handlers, selectors
from shop.outbox.handlers import Delivery
from shop.outbox.loop import Loop
from shop.outbox.models import Row
from shop.outbox.signals import background_starts
from tests.faults.processes import environment
from tests.outbox.conftest import effects, note, publish

_fork = multiprocessing.get_context("fork")
PATIENCE = 15.0


def run_loop() -> None:
    Loop().run()
    connections.close_all()
    os._exit(0)


class LoopProcess(_fork.Process):
    def start(self) -> None:
        connections.close_all()  # a connection carried over the fork is shared by both sides, which ruins it
        super().start()


@pytest.fixture
def loop(transactional_db: None) -> Iterator[LoopProcess]:
    process = LoopProcess(target=run_loop)
    yield process
    if process.is_alive():
        process.kill()
    process.join()


def wait_until(true: Any) -> None:
    end = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)


def now_publish(key: str, handler: str = "note") -> Row:
    return publish(key, handler=handler, due_at=timezone.now(), now=timezone.now())


def test_it_runs_what_is_due_and_ends_when_asked(loop: LoopProcess) -> None:
    now_publish("before")
    loop.start()
    wait_until(lambda: effects("before") == 1)
    now_publish("after")
    wait_until(lambda: effects("after") == 1)
    beat = selectors.last_sweep()
    assert beat is not None
    assert beat.by.endswith(f":{loop.pid}")
    os.kill(loop.pid, signal.SIGTERM)
    loop.join(2)
    assert loop.exitcode == 0


def test_it_finishes_the_running_row_before_it_ends_and_leaves_the_next(loop: LoopProcess, tmp_path: Path) -> None:
    started = tmp_path / "started"

    def slow(delivery: Delivery) -> None:
        started.touch()
        time.sleep(1)

    handlers.register("slow", note, handlers.HERE, prepare=slow)
    now_publish("running", "slow")
    now_publish("next", "slow")
    loop.start()
    wait_until(started.exists)
    os.kill(loop.pid, signal.SIGTERM)
    loop.join(5)
    assert loop.exitcode == 0
    states = dict(Row.objects.values_list("key", "state"))
    assert states == {"running": "done", "next": "pending"}


def test_a_round_that_breaks_off_is_followed_by_another(loop: LoopProcess, monkeypatch: pytest.MonkeyPatch) -> None:
    sweeps = []

    def sweep_or_break(**given: Any) -> list[int]:
        sweeps.append(1)
        if len(sweeps) == 1:
            raise RuntimeError("the database went away")
        return list(Row.objects.values_list("pk", flat=True))

    monkeypatch.setattr("shop.outbox.services.sweep", sweep_or_break)
    now_publish("k1")
    loop.start()
    wait_until(lambda: effects() == 1)


@pytest.mark.django_db(transaction=True)
def test_an_idle_loop_takes_hardly_any_processor_time(loop: LoopProcess) -> None:
    loop.start()
    wait_until(lambda: selectors.last_sweep() is not None)
    before = processor_seconds(loop.pid)
    time.sleep(4)
    share = (processor_seconds(loop.pid) - before) / 4
    assert share < 0.05, f"{share:.1%} of a processor"


def processor_seconds(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def test_who_prepares_for_background_jobs_is_told_before_the_first(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []

    def prepare(**_: Any) -> None:
        told.append("starts")

    def no_more(self: Loop) -> bool:
        told.append("round")
        self._stopping = True
        return False

    monkeypatch.setattr(Loop, "_round", no_more)
    background_starts.connect(prepare)
    kept = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)}
    try:
        Loop().run()
    finally:
        background_starts.disconnect(prepare)
        for number, handler in kept.items():
            signal.signal(number, handler)
    assert told == ["starts", "round"]


def test_with_a_broker_the_command_says_who_runs_the_jobs(settings: Any) -> None:
    settings.EMBEDDED = False
    with pytest.raises(CommandError, match="Celery's worker and beat"):
        call_command("background")


# -- with a broker: hints ------------------------------------------------------------------------------------------


SWEEP_ONCE = """
import time, django
django.setup()
from shop.outbox import tasks
began = time.monotonic()
print(tasks.sweep(), time.monotonic() - began < 15)
"""


@pytest.mark.django_db(transaction=True)
def test_a_broker_that_does_not_answer_costs_one_try_and_no_row() -> None:
    """A real refused connection: nothing listens at port 1."""
    rows = [now_publish("k1").pk, now_publish("k2").pk]
    environ = environment(BAREFRAME_REDIS="redis://127.0.0.1:1/0", DJANGO_SETTINGS_MODULE="shop.settings")
    swept = subprocess.run([sys.executable, "-c", SWEEP_ONCE], env=environ, capture_output=True, text=True, timeout=60)
    assert swept.stdout == f"{rows} True\n"
    assert swept.stderr.count("The broker took no hints") == 1
    assert set(Row.objects.values_list("state", flat=True)) == {"pending"}
