"""Kill everything at random and count: what was acknowledged must have its effect, exactly once.

    python -m tests.faults.kill_loop --cycles 25 --db sqlite|postgres [--redis] [--mail] [--control] [--seed N]

With ``--mail`` the effect is a mail, which a server that is never killed takes and writes down: a row may then end as
"unknown", if the process that sent it was killed, and no mail may be taken twice.

Ends with 0 when nothing was lost, unsent or doubled, and with 1 otherwise. ``--control`` runs workers that are wrong
on purpose, and must end with 1. The last line of output is the figures as JSON.
"""

import argparse
import ctypes
import json
import os
import random
import selectors
import signal
import subprocess
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import ExitStack, suppress
from dataclasses import asdict, dataclass, field

from tests.faults import counting_office, stage

DRAIN = 20.0  # seconds without a row being done, after which the rest is called unsent
PATIENCE, CELERY_PATIENCE = 3.0, 15.0
TARGETS = {  # by whether there is a Redis, and whether it is the control
    (False, False): "writer,worker,other worker,all",
    (False, True): "worker,other worker",
    (True, False): "writer,worker,beat,redis,flush,all",
    (True, True): "worker,redis",
}
SETTLED = ("done", "unknown")
PROGRESS = 10  # keys acknowledged in each cycle
PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None)


@dataclass
class Figures:
    cycles: int = 0
    kills: dict[str, int] = field(default_factory=dict)
    acknowledged: int = 0
    committed: int = 0
    lost: int = 0
    without_row: int = 0
    unsent: int = 0
    doubled: int = 0
    unasked: int = 0
    files_missing: int = 0
    not_done: int = 0
    interrupted: int = 0  # rows that a kill hit while they ran: without any, the run shows nothing
    unknown: int = 0  # mails of which only a person can find out whether they went out
    unknown_taken: int = 0  # of them those that the server has: sent again by machine, each would be a double
    unexplained: int = 0  # unknown although nobody killed the process that sent them
    drained_in: float = 0.0
    journal: str = ""
    database: str = ""

    def red(self) -> bool:
        wrong = (
            self.lost,
            self.without_row,
            self.unsent,
            self.doubled,
            self.unasked,
            self.files_missing,
            self.unexplained,
        )
        return any(wrong) or self.not_done > 0 or bool(self.journal) or self.database != "ok" or not self.acknowledged


class Child:
    """A process group of its own that dies with us."""

    def __init__(self, start: Callable[[], int]) -> None:
        self._start = start
        self.pid = start()

    def kill(self) -> None:
        self.signal(signal.SIGKILL)
        if self.pid:
            with suppress(ChildProcessError):
                os.waitpid(self.pid, 0)
        self.pid = 0  # reaped: its number may be somebody else's by now

    def signal(self, number: int) -> None:
        if self.pid:
            with suppress(ProcessLookupError):
                os.killpg(self.pid, number)

    def again(self) -> None:
        self.pid = self._start()

    def tend(self) -> None:
        """What the supervisor does: whoever ended by itself is started again."""
        with suppress(ChildProcessError):
            if os.waitpid(self.pid, os.WNOHANG)[0]:
                self.again()


def fork(function: Callable[[], None]) -> int:
    """Django is loaded already, so a new process is there at once; it inherits no connection: we hold none."""
    parent = os.getpid()
    pid = os.fork()
    if pid:
        with suppress(PermissionError, ProcessLookupError):
            os.setpgid(pid, pid)
        return pid
    try:
        os.setpgid(0, 0)
        die_with(parent)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        random.seed()
        function()
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    finally:
        os._exit(0)


def die_with(parent: int) -> None:
    _libc.prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent:
        os._exit(1)


class Run:
    def __init__(self, arguments: argparse.Namespace, redis: stage.Redis | None) -> None:
        self.arguments, self.redis = arguments, redis
        self.figures = Figures(cycles=arguments.cycles)
        self.acknowledged: set[str] = set()
        self.killed: set[int] = set()
        self.ours, self.theirs = os.pipe()
        self._rest = b""

    def play(self) -> Figures:
        from tests.faults import roles

        roles.sink().mkdir()
        handler = "mail" if self.arguments.mail else "effect"
        self.writer = Child(lambda: fork(lambda: roles.write(self.theirs, handler)))
        self.workers = self._celery() if self.redis else self._loops()
        try:
            self._play_cycles()
            self._drain()
        finally:
            for child in (self.writer, *self.workers.values()):
                child.kill()
        self._count()
        return self.figures

    def _play_cycles(self) -> None:
        for _cycle in range(self.arguments.cycles):
            self._listen(random.uniform(0.1, 0.6), at_least=PROGRESS)
            if self.redis:
                self._await_work()
            for child in (self.writer, *self.workers.values()):
                child.tend()
            self._hit(random.choice(self.arguments.targets.split(",")))
        self.writer.kill()
        self._listen(0)

    # -- who plays -------------------------------------------------------------------------------------------------

    def _loops(self) -> dict[str, Child]:
        def work() -> None:
            from shop.outbox.loop import Loop
            from tests.faults import roles

            roles.prepare(control=self.arguments.control)
            Loop().run()

        return {name: Child(lambda: fork(work)) for name in ("worker", "other worker")}

    def _celery(self) -> dict[str, Child]:
        schedule = os.path.join(os.environ["BAREFRAME_HOME"], "schedule")
        worker = ("worker", "--pool", "prefork", "--concurrency", "2", "--loglevel", "ERROR")
        beat = ("beat", "--schedule", schedule, "--pidfile", "", "--loglevel", "ERROR")
        commands = {"worker": worker, "beat": beat}
        return {name: Child(lambda c=command: self._popen(c)) for name, command in commands.items()}

    def _popen(self, command: Iterable[str]) -> int:
        parent = os.getpid()
        process = subprocess.Popen(
            [sys.executable, "-m", "celery", "-A", "tests.faults.celery_app", *command],
            env=os.environ | {"FAULT_CONTROL": "1" if self.arguments.control else "0"},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            preexec_fn=lambda: die_with(parent),
        )
        process.returncode = 0  # waited for by Child, not by subprocess
        return process.pid

    # -- what happens to them --------------------------------------------------------------------------------------

    def _hit(self, target: str) -> None:
        self.figures.kills[target] = self.figures.kills.get(target, 0) + 1
        if target == "flush" and self.redis:
            self.redis.flush()
            return
        named = {"writer": self.writer, **self.workers}
        hit = list(named.values()) if target == "all" else [named[target]] if target in named else []
        self.killed |= {child.pid for child in hit}
        for child in hit:
            child.signal(signal.SIGKILL)
        if self.redis and target in {"redis", "all"}:
            self.redis.kill()
            self.redis.start()
        for child in hit:
            child.kill()
            child.again()

    def _listen(self, seconds: float, *, at_least: int = 0) -> None:
        """Read what the writer acknowledges, raw: a buffer would hide the last keys before a kill.

        Longer than ``seconds`` when a busy machine made no progress yet: killing what has not begun shows nothing.
        """
        began, had = time.monotonic(), len(self.acknowledged)
        with selectors.DefaultSelector() as selector:
            selector.register(self.ours, selectors.EVENT_READ)
            while True:
                few = len(self.acknowledged) - had < at_least
                left = began + (PATIENCE if few else seconds) - time.monotonic()
                if not selector.select(max(0.0, left)):
                    return
                *lines, self._rest = (self._rest + os.read(self.ours, 65536)).split(b"\n")
                self.acknowledged.update(line.decode() for line in lines)
                if left <= 0:
                    return

    def _await_work(self) -> None:
        """Celery takes seconds to start, and a worker killed before its first row shows nothing."""
        end, had = time.monotonic() + CELERY_PATIENCE, done_rows()
        while done_rows() < had + PROGRESS and time.monotonic() < end:
            self._listen(0.1)

    def _drain(self) -> None:
        from django.db import connections

        from shop.outbox.models import Row

        began = moved = time.monotonic()
        left = -1
        while (owed := Row.objects.exclude(state__in=SETTLED).count()) and time.monotonic() - moved < DRAIN:
            if owed != left:
                left, moved = owed, time.monotonic()
            time.sleep(0.1)
            for child in self.workers.values():
                child.tend()
        self.figures.drained_in = round(time.monotonic() - began, 1)
        self.figures.not_done = owed
        connections.close_all()

    # -- what came of it -------------------------------------------------------------------------------------------

    def _count(self) -> None:
        from django.utils import timezone

        from shop.journal import services, verify
        from shop.outbox.models import Row

        committed = set(column("SELECT key FROM fault_business"))
        told = self.figures
        effects = mails(committed) if self.arguments.mail else Counter(column("SELECT key FROM fault_effect"))
        files = committed if self.arguments.mail else files_made()
        unknown = dict(Row.objects.filter(state="unknown").values_list("key", "leased_by"))
        told.acknowledged, told.committed = len(self.acknowledged), len(committed)
        told.lost = len(self.acknowledged - committed)
        told.without_row = len(committed ^ set(Row.objects.values_list("key", flat=True)))
        told.unsent = len(committed - effects.keys() - unknown.keys())
        told.doubled = sum(count > 1 for count in effects.values())
        told.unasked = len(effects.keys() - committed)
        told.files_missing = len(committed - files)
        told.interrupted = Row.objects.filter(attempts__gt=1).count() + len(unknown)
        told.unknown, told.unknown_taken = len(unknown), len(unknown.keys() & effects.keys())
        told.unexplained = sum(int(by.rpartition(":")[2]) not in self.killed for by in unknown.values())
        services.seal(now=timezone.now())
        told.journal = verify.first_fault() or ""
        told.database = integrity()


def mails(committed: Iterable[str]) -> Counter[str]:
    """How often the server took the mail of each key; what it took that nobody asked for goes by its Message-ID."""
    from shop.outbox.mail import message_id
    from tests.faults import roles

    keys = {message_id(key): key for key in committed}
    return Counter({keys.get(name, name): count for name, count in counting_office.taken(roles.book()).items()})


def files_made() -> set[str]:
    from tests.faults import roles

    return set(os.listdir(roles.sink()))


def done_rows() -> int:
    from django.db import connections

    from shop.outbox.models import Row

    try:
        return Row.objects.filter(state="done").count()
    finally:
        connections.close_all()  # what is forked next must not inherit it


def open_office(port: int) -> Child:
    from tests.faults import roles

    office = Child(lambda: fork(lambda: counting_office.serve(port, roles.book())))
    stage.wait_for(port)
    return office


def column(statement: str) -> list[str]:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(statement)
        return [row[0] for row in cursor.fetchall()]


def integrity() -> str:
    from django.db import connection

    return column("PRAGMA integrity_check")[0] if connection.vendor == "sqlite" else "ok"


def main() -> int:
    parser = argparse.ArgumentParser(description="Kill everything at random and count what came of it.")
    parser.add_argument("--cycles", type=int, default=25)
    parser.add_argument("--db", choices=["sqlite", "postgres"], default="sqlite")
    parser.add_argument("--redis", action="store_true", help="Celery worker and beat on a Redis that is killed too")
    parser.add_argument("--mail", action="store_true", help="the effect is a mail, to a server of its own")
    parser.add_argument("--control", action="store_true", help="workers that are wrong on purpose: must come out red")
    parser.add_argument("--targets", help="what is hit, separated by commas")
    parser.add_argument("--seed", type=int, help="of the choice of moments and targets")
    arguments = parser.parse_args()
    arguments.targets = arguments.targets or TARGETS[arguments.redis, arguments.control]
    random.seed(arguments.seed)
    with ExitStack() as kept:
        redis = stage.Redis() if arguments.redis else None
        if redis:
            kept.callback(redis.close)
            redis.start()
        port = stage.free_port()
        os.environ |= counting_office.account(port)
        kept.enter_context(stage.home(arguments.db, redis.url if redis else ""))
        stage.build()
        if arguments.mail:
            kept.callback(open_office(port).kill)
        figures = Run(arguments, redis).play()
        print(json.dumps(asdict(figures)))
    return 1 if figures.red() else 0


if __name__ == "__main__":
    sys.exit(main())
