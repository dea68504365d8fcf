"""Keeps a handful of child processes alive, and takes them all along when it ends. Knows nothing of the shop.

    python supervisor.py PLAN

runs the children that the file PLAN lists, as `write_plan` left it. Standard library only: run so, it needs a tenth of
the memory of a process that has loaded the shop.
"""

import contextlib
import ctypes
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import Any

LEASH = Path(__file__).with_name("management") / "leash.py"
PR_SET_PDEATHSIG = 1
POLL = 0.2
PATIENCE = 15.0  # seconds between asking all to end and killing them
FIRST_DELAY, LONGEST_DELAY = 0.5, 30.0
SOUND_AFTER = 60.0  # a child that lived this long starts anew without delay

_libc = ctypes.CDLL(None)


@dataclass(frozen=True)
class Child:
    name: str
    command: tuple[str, ...]
    folder: Path
    environment: dict[str, str] = field(default_factory=dict)


def as_plain(child: Child) -> dict[str, object]:
    return {**vars(child), "folder": str(child.folder)}


def from_plain(plain: dict[str, Any]) -> Child:
    return Child(plain["name"], tuple(plain["command"]), Path(plain["folder"]), plain["environment"])


def write_plan(path: Path, children: Iterable[Child], *, renew: Child | None) -> None:
    """``renew`` is run every hour; it prints the children that must run differently from then on, as a list of JSON."""
    plan = {"children": list(map(as_plain, children)), "renew": as_plain(renew) if renew else None}
    path.write_text(json.dumps(plan, indent=1), encoding="utf-8")


@dataclass
class _Running:
    child: Child
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    delay: float = FIRST_DELAY
    due: float = 0.0


class Supervisor:
    """Runs children until SIGINT, SIGTERM or SIGHUP; a second such signal kills instead of asking.

    ``renew`` is asked every ``renew_every`` seconds for children that must run differently from now on; those of the
    same name are ended and started as said.
    """

    def __init__(
        self,
        children: Iterable[Child],
        *,
        say: Callable[[str], None],
        renew: Callable[[], Iterable[Child]] = tuple,
        renew_every: float = 3600.0,
    ) -> None:
        self._running = {child.name: _Running(child) for child in children}
        self._say = say
        self._renew, self._renew_every = renew, renew_every
        self._signals = 0
        self._leash: subprocess.Popen[bytes] | None = None

    def run(self) -> None:
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            if signal.getsignal(number) != signal.SIG_IGN:  # nohup and the like mean what they ask for
                signal.signal(number, self._on_signal)
        asked = time.monotonic()
        try:
            while not self._signals:
                self._keep_leash()
                for running in self._running.values():
                    self._tend(running, time.monotonic())
                if time.monotonic() - asked > self._renew_every:
                    asked = time.monotonic()
                    self._replace(self._asked_renewals())
                time.sleep(POLL)
        finally:
            self._end()

    def _on_signal(self, _number: int, _frame: FrameType | None) -> None:
        self._signals += 1

    # -- one child -----------------------------------------------------------------------------------------------

    def _tend(self, running: _Running, now: float) -> None:
        if running.process is None:
            if now >= running.due:
                self._start(running, now)
        elif (code := self._ended(running.process)) is not None:
            self._bury(running)
            running.delay = FIRST_DELAY if now - running.started > SOUND_AFTER else running.delay
            running.due = now + running.delay
            self._say(f"{running.child.name} ended ({_why(code)}); starting it again in {running.delay:g} s")
            running.delay = min(running.delay * 2, LONGEST_DELAY)

    def _start(self, running: _Running, now: float) -> None:
        running.process = subprocess.Popen(  # noqa: S603  (commands come from this project only)
            running.child.command,
            cwd=running.child.folder,
            env=os.environ | running.child.environment,
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            preexec_fn=_die_with(os.getpid()),
        )
        running.started = now
        self._tell_leash(f"+ {running.process.pid}")

    def _ended(self, process: subprocess.Popen[bytes]) -> int | None:
        """The exit code of an ended child, which is *not* reaped yet: its group's number stays its own."""
        found = os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT)
        if found is None:
            return None
        return found.si_status if found.si_code == os.CLD_EXITED else -found.si_status

    def _bury(self, running: _Running) -> None:
        """Kill what a dead child left of its group, then let go of its number."""
        process, running.process = running.process, None
        if process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            self._tell_leash(f"- {process.pid}")

    # -- all of them ---------------------------------------------------------------------------------------------

    def _replace(self, children: Iterable[Child]) -> None:
        for child in children:
            old = self._running.pop(child.name)
            self._stop([old])
            self._running[child.name] = _Running(child)

    def _asked_renewals(self) -> Iterable[Child]:
        try:
            return self._renew()
        except (OSError, ValueError, subprocess.SubprocessError) as error:  # the next hour may do better
            self._say(f"Could not ask what needs renewing: {error}")
            return []

    def _end(self) -> None:
        self._say("Ending ...")
        self._stop(self._running.values())
        if self._leash and self._leash.stdin:
            self._leash.stdin.close()
            self._leash.wait()

    def _stop(self, stopping: Iterable[_Running]) -> None:
        left = [running for running in stopping if running.process]
        for running in left:
            assert running.process is not None
            running.process.terminate()
        end = time.monotonic() + PATIENCE
        while left and time.monotonic() < end and self._signals < 2:
            left = [running for running in left if not self._buried(running)]
            time.sleep(0.05)
        for running in left:
            self._say(f"{running.child.name} does not end by itself; killing it")
            self._bury(running)

    def _buried(self, running: _Running) -> bool:
        assert running.process is not None
        if self._ended(running.process) is None:
            return False
        self._bury(running)
        return True

    # -- the leash -----------------------------------------------------------------------------------------------

    def _keep_leash(self) -> None:
        """A small process that outlives this one just long enough to end what would outlive it."""
        if self._leash and self._leash.poll() is None:
            return
        self._leash = subprocess.Popen(  # noqa: S603
            [sys.executable, "-I", "-S", str(LEASH)], stdin=subprocess.PIPE, start_new_session=True
        )
        for running in self._running.values():
            if running.process:
                self._tell_leash(f"+ {running.process.pid}")

    def _tell_leash(self, line: str) -> None:
        if self._leash and self._leash.stdin:
            with contextlib.suppress(BrokenPipeError):  # it died; the next round starts another and tells it all
                self._leash.stdin.write(f"{line}\n".encode())
                self._leash.stdin.flush()


def _die_with(parent: int) -> Callable[[], None]:
    def prepare() -> None:
        _libc.prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
        if os.getppid() != parent:  # it died before the line above took hold
            os._exit(1)

    return prepare


def _why(code: int) -> str:
    return f"signal {-code}" if code < 0 else f"exit code {code}"


def _renewal(child: Child) -> Callable[[], Iterable[Child]]:
    def renew() -> Iterable[Child]:
        environment = os.environ | child.environment
        done = subprocess.run(  # noqa: S603
            child.command, cwd=child.folder, env=environment, stdout=subprocess.PIPE, timeout=60
        )
        return [] if done.returncode else list(map(from_plain, json.loads(done.stdout)))

    return renew


def _say(line: str) -> None:
    print(line, flush=True)


def main() -> None:
    plan = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    renew = _renewal(from_plain(plan["renew"])) if plan["renew"] else tuple
    Supervisor(map(from_plain, plan["children"]), say=_say, renew=renew).run()


if __name__ == "__main__":
    main()
