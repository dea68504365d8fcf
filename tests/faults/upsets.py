"""What may happen to Redis, to Celery's processes and to its messages, one after the other; and what came of it.

    python -m tests.faults.upsets --db sqlite|postgres [--times 3] [--only NAME,NAME]

Each upset is played right, and then with one rule broken on purpose, which must come out wrong. Durations are printed
and decide nothing, but for a request that is held up for longer than ``LONGEST_REQUEST``.
"""

import argparse
import json
import math
import os
import random
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
import uuid
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager, nullcontext, suppress
from pathlib import Path
from typing import Any

from tests.faults import stage
from tests.faults.kill_loop import Child, column, die_with, fork

PATIENCE, CONTROL_PATIENCE = 90.0, 6.0
LONGEST_REQUEST = 5.0
ROWS, REQUESTS, ROUNDS = 12, 15, 4


class Upsets:
    def __init__(self, redis: stage.Redis, times: int) -> None:
        self.redis, self.times = redis, times
        self.tended: list[Child] = []

    # -- who plays -------------------------------------------------------------------------------------------------

    @contextmanager
    def celery(self, *, beats: int = 1, **faults: str) -> Iterator[tuple[Child, list[Child]]]:
        worker = Child(lambda: self._popen("worker", "--pool", "prefork", "--concurrency", "2", faults=faults))
        started = [Child(lambda n=number: self._beat(n, faults)) for number in range(beats)]
        self.tended = [worker, *started]
        try:
            yield worker, started
        finally:
            self.tended = []
            for child in (worker, *started):
                child.kill()

    def _beat(self, number: int, faults: dict[str, str]) -> int:
        return self._popen("beat", "--schedule", str(schedule(number)), "--pidfile", "", faults=faults)

    def _popen(self, *command: str, faults: dict[str, str]) -> int:
        parent = os.getpid()
        process = subprocess.Popen(
            [sys.executable, "-m", "celery", "-q", "-A", "tests.faults.celery_app", *command, "--loglevel", "CRITICAL"],
            env=os.environ | faults,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            preexec_fn=lambda: die_with(parent),
        )
        process.returncode = 0  # waited for by Child
        return process.pid

    def commit(self, count: int = ROWS, handler: str = "effect") -> list[str]:
        from tests.faults import roles

        keys = [uuid.uuid4().hex for _row in range(count)]
        for key in keys:
            roles.commit(key, handler)
        return keys

    def wait_done(self, keys: list[str], patience: float) -> float:
        """Meanwhile whoever ended is started again, as the supervisor does; whoever lives and is deaf is not."""

        def all_done() -> bool:
            for child in self.tended:
                child.tend()
            return done(keys) == len(keys)

        return wait(all_done, patience)

    # -- the upsets ------------------------------------------------------------------------------------------------

    def absent(self, *, control: bool) -> dict[str, Any]:
        """D-07: no Redis when all start. The control has no sweep, so that what nobody hears of is never sent."""
        self.redis.kill()
        with page_server() as port, self.celery(beats=0 if control else 1):
            status, _seconds = request(port, "sign-in/")
            keys = self.commit()
            time.sleep(2)
            early = done(keys)
            self.redis.start()
            sent_in = self.wait_done(keys, CONTROL_PATIENCE if control else PATIENCE)
        return {"wrong": [*wrongs(keys), *(["a page failed"] if status != 200 or early else [])], "sent in": sent_in}

    def restarted(self, *, control: bool) -> dict[str, Any]:
        """D-08: Redis ends and comes again, and forgets everything. The control has no sweep."""
        longest, wrong = 0.0, []
        with self.celery(beats=0 if control else 1) as (worker, beats):
            self.wait_done(self.commit(1), CONTROL_PATIENCE if control else PATIENCE)
            first = [worker.pid, *(beat.pid for beat in beats)]
            for _time in range(1 if control else self.times + 2):
                time.sleep(random.uniform(0.2, 1))
                self.redis.kill()
                self.redis.start()
                probe = self.commit(1)
                longest = max(longest, self.wait_done(probe, CONTROL_PATIENCE if control else PATIENCE))
                wrong += wrongs(probe)
            wrong += ["a process ended"] * ([worker.pid, *(beat.pid for beat in beats)] != first)
        return {"wrong": wrong, "longest": longest}

    def frozen(self, *, control: bool) -> dict[str, Any]:
        """D-06: Redis neither answers nor hangs up. The control talks to it within a request."""
        took: dict[bool, list[float]] = {False: [], True: []}
        errors = 0
        address = "fault/hint/" if control else "fault/ask/"
        with page_server() as port, ExitStack() as kept:
            request(port, address)  # what is loaded first is loaded, and a connection is there to be frozen
            if not control:
                kept.enter_context(self.celery())
            for _round in range(1 if control else ROUNDS):
                for cold in (False, True):
                    with self._cold() if cold else nullcontext():
                        for _request in range(2 if control else REQUESTS):
                            status, seconds = request(port, address)
                            took[cold].append(seconds)
                            errors += status != 200
            keys = column("SELECT key FROM fault_business")
            errors += 0 if control else len(took[False]) + len(took[True]) + 1 - len(keys)
            self.wait_done(keys, 0 if control else PATIENCE)
        slow = max(took[True])
        wrong = [f"{errors} errors"] * (errors > 0) + [f"a request took {slow:.1f} s"] * (slow > LONGEST_REQUEST)
        ratio = nearest_rank(took[True], 0.99) / nearest_rank(took[False], 0.99)
        return {
            "wrong": wrong + ([] if control else wrongs(keys)),
            "p99 frozen : thawed": round(ratio, 2),
            "longest": slow,
        }

    @contextmanager
    def _cold(self) -> Iterator[None]:
        assert self.redis.process
        os.kill(self.redis.process.pid, signal.SIGSTOP)
        try:
            yield
        finally:
            os.kill(self.redis.process.pid, signal.SIGCONT)

    def slow(self, *, control: bool) -> dict[str, Any]:
        """D-11: sending takes longer than Celery waits for an answer, so the message comes again. The control does not
        ask whose row it is.
        """
        faults = {"FAULT_VISIBILITY": "1", "FAULT_LEASE": "600", "FAULT_CONTROL": "no claim" if control else "0"}
        with self.celery(**faults):
            self.wait_done(
                self.commit(1), PATIENCE
            )  # a hint that lay about until all are up would be too old to come again
            keys = self.commit(1, "slow")
            wait(lambda: calls(keys[0]) > 1 and done(keys) == 1, PATIENCE)
            wait(lambda: bool(wrongs(keys)), PATIENCE if control else 1)  # the second copy has its time too
            copies = calls(keys[0])
        return {"wrong": [*wrongs(keys), *(["the message never came again"] if copies < 2 else [])], "copies": copies}

    def ended(self, *, control: bool) -> dict[str, Any]:
        """D-13: SIGTERM at work: what runs is finished, what waits is left. The control is killed instead."""
        longest, wrong = 0.0, []
        for _time in range(self.times):
            with self.celery(FAULT_SLOW="0.3") as (worker, _beats):
                keys = self.commit()
                wait_running(keys)
                longest = max(longest, ended_in(worker, signal.SIGKILL if control else signal.SIGTERM))
                wrong += ["a row was broken off"] * bool(running(keys))
                worker.again()
                self.wait_done(keys, PATIENCE)
                wrong += wrongs(keys)
        return {"wrong": wrong, "longest stop": longest}

    def pool_child(self, *, control: bool) -> dict[str, Any]:
        """D-18: the process that runs a row is killed, as by a machine short of memory; its parent is not. The control
        marks in a second transaction.
        """
        wrong, longest = [], 0.0
        with self.celery(FAULT_CONTROL="1" if control else "0", FAULT_SLOW="1" if control else "0.3") as (
            worker,
            _beats,
        ):
            first = worker.pid
            for _time in range(self.times):
                keys = self.commit()
                pid = wait_running(keys, begun=control) or worker.pid
                wrong += ["no row ran in a process of its own"] * (pid == worker.pid)
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
                self.wait_done(keys, PATIENCE)
                probe = self.commit(1)
                longest = max(longest, self.wait_done(probe, PATIENCE))
                wrong += wrongs([*keys, *probe])
            wrong += ["the worker ended"] * (worker.pid != first or has_ended(worker))
        return {"wrong": wrong, "longest probe": longest}

    def beats(self, *, control: bool) -> dict[str, Any]:
        """D-09: three at once, one killed again and again, its schedule gone, and all of them late. What they find is an
        event without a row. The control makes the key from the moment, not from the event.
        """
        from tests.faults import roles

        events = [roles.event() for _event in range(ROWS)]  # due while nobody looks
        with self.celery(beats=3, FAULT_MEND="by moment" if control else "by event") as (_worker, started):
            for _time in range(self.times):
                events.append(roles.event())
                wait(lambda: found(events) == set(events), PATIENCE)
                started[0].kill()
                for file in schedule(0).parent.glob(f"{schedule(0).name}*"):
                    file.unlink()
                started[0].again()
            wait(lambda: made(events) >= len(events), PATIENCE)
            time.sleep(CONTROL_PATIENCE)
            rows = made(events)
        wrong = [f"{rows} rows for {len(events)} events"] * (rows != len(events))
        return {"wrong": wrong, "events": len(events), "rows": rows}


UPSETS: tuple[Callable[..., dict[str, Any]], ...] = (
    Upsets.absent,
    Upsets.restarted,
    Upsets.frozen,
    Upsets.slow,
    Upsets.ended,
    Upsets.pool_child,
    Upsets.beats,
)


# -- the page ------------------------------------------------------------------------------------------------------


@contextmanager
def page_server() -> Iterator[int]:
    from tests.faults import pages

    close()
    port = stage.free_port()
    server = Child(lambda: fork(lambda: pages.serve(port)))
    try:
        stage.wait_for(port)
        yield port
    finally:
        server.kill()


def request(port: int, address: str) -> tuple[int, float]:
    began = time.monotonic()
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/{address}", timeout=PATIENCE) as answer:
            answer.read()
            status = answer.status
    except urllib.error.HTTPError as error:
        status = error.code
    return status, round(time.monotonic() - began, 3)


# -- what is seen --------------------------------------------------------------------------------------------------


def close() -> None:
    from django.db import connections

    connections.close_all()  # what is forked must not inherit one


def rows(keys: list[str]) -> Any:
    from shop.outbox.models import Row

    return Row.objects.filter(key__in=keys)


def done(keys: list[str]) -> int:
    return rows(keys).filter(state="done").count()


def running(keys: list[str], *, begun: bool = False) -> list[int]:
    """Processes that hold a row just now; with ``begun``, of rows whose effect is there already."""
    held = rows(keys).filter(state__in=["leased", "sending"])
    if begun:
        held = held.filter(key__in=column("SELECT key FROM fault_effect"))
    return [int(by.rpartition(":")[2]) for by in held.values_list("leased_by", flat=True)]


def wait(true: Callable[[], bool], patience: float) -> float:
    """How long it took [s]; what never becomes true is for the caller to find."""
    began = time.monotonic()
    while not true() and time.monotonic() - began < patience:
        time.sleep(0.02)
    return round(time.monotonic() - began, 1)


def wrongs(keys: list[str]) -> list[str]:
    effects = Counter(column("SELECT key FROM fault_effect"))
    unsent = sum(effects[key] == 0 for key in keys)
    doubled = sum(effects[key] > 1 for key in keys)
    told = {"lost": len(keys) - rows(keys).count(), "unsent": unsent, "doubled": doubled}
    told["not done"] = len(keys) - done(keys)
    return [f"{count} {name}" for name, count in told.items() if count]


def wait_running(keys: list[str], *, begun: bool = False) -> int:
    """A process that runs one of the rows; 0 if none ever does."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if pids := running(keys, begun=begun):
            return pids[0]
        time.sleep(0.02)
    return 0


def has_ended(child: Child) -> bool:
    """It is not reaped yet: its number stays its own."""
    return os.waitid(os.P_PID, child.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None


def ended_in(child: Child, number: int) -> float:
    """Seconds until the process was gone; what it left of its group is killed."""
    os.kill(child.pid, number)
    seconds = wait(lambda: has_ended(child), PATIENCE)
    child.kill()
    return seconds


def nearest_rank(values: Iterable[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[max(0, math.ceil(share * len(ordered)) - 1)]


def calls(key: str) -> int:
    """How often a worker was told of this row."""
    from tests.faults import roles

    (row_id,) = rows([key]).values_list("pk", flat=True)
    return roles.calls().read_text().split().count(str(row_id)) if roles.calls().exists() else 0


def found(events: list[str]) -> set[str]:
    from shop.outbox.models import Row

    return {key.partition("/")[0] for key in Row.objects.filter(handler="event").values_list("key", flat=True)} & set(
        events
    )


def made(events: list[str]) -> int:
    from shop.outbox.models import Row

    return sum(
        key.partition("/")[0] in set(events)
        for key in Row.objects.filter(handler="event").values_list("key", flat=True)
    )


def schedule(number: int) -> Path:
    return Path(os.environ["BAREFRAME_HOME"]) / f"schedule-{number}"


# -- all of them ---------------------------------------------------------------------------------------------------


def clear() -> None:
    """What a control left undone is not the next one's work."""
    from shop.outbox.models import Row
    from tests.faults import roles

    Row.objects.exclude(state="done").update(state="dead", lease_until=None)
    for table in ("fault_business", "fault_effect"):
        roles.execute(f"DELETE FROM {table}")


def play(upsets: Upsets, only: list[str]) -> dict[str, dict[str, Any]]:
    told: dict[str, dict[str, Any]] = {}
    for upset in UPSETS:
        name = upset.__name__
        if only and name not in only:
            continue
        right = upset(upsets, control=False)
        clear()
        broken = upset(upsets, control=True)
        clear()
        upsets.redis.kill()
        upsets.redis.start()
        told[name] = {"right": right, "control": broken}
        print(f"{name:12} {right}\n{'':12} control: {broken}", flush=True)
    return told


def main() -> int:
    parser = argparse.ArgumentParser(description="Upset Redis and Celery, and count.")
    parser.add_argument("--db", choices=["sqlite", "postgres"], default="sqlite")
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--only", default="")
    arguments = parser.parse_args()
    with ExitStack() as kept:
        redis = stage.Redis()
        kept.callback(redis.close)
        redis.start()
        kept.enter_context(stage.home(arguments.db, redis.url))
        stage.build()
        from tests.faults import roles

        roles.sink().mkdir()
        roles.register()
        told = play(Upsets(redis, arguments.times), [name for name in arguments.only.split(",") if name])
        close()
    print(json.dumps(told))
    return 1 if any(one["right"]["wrong"] or not one["control"]["wrong"] for one in told.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
