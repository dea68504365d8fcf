"""End a process at each point where ending hurts most; let healthy ones go on; count what came of it.

    python -m tests.faults.points --db sqlite|postgres [--times 20] [--controls]

At every point there must be exactly one effect in the end, or one row that says "unknown" and at most one effect.
A process ends by SIGKILL which it gives itself; a point that is not reached counts as wrong. Ends with 0 when all is
well and with 1 otherwise. ``--controls`` then breaks one rule after the other on purpose, and plays the points that
must come out wrong by it.
"""

import argparse
import hashlib
import json
import os
import signal
import sys
import time
import uuid
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

import pytest

from tests.faults import counting_office, stage
from tests.faults.kill_loop import Child, column, fork, open_office

#: How long anything may take before it counts as not happening [s]: this never decides what is right, only what hangs.
PATIENCE = 90.0
#: And where it must not happen at all [s].
CONTROL_PATIENCE = 6.0
BATCH = 3
FAR = datetime(2999, 1, 1, tzinfo=UTC)
NOT_REACHED = "the process did not come to this point"

WRITER, BEAT, WORKER = "writer", "beat", "worker"


class Case(NamedTuple):
    point: str
    role: str
    handler: str = "effect"
    rows: int = 1

    def __str__(self) -> str:
        return f"{self.point} ({self.role}, {self.handler})"


CASES = (
    Case("after_business_insert", WRITER),
    Case("after_outbox_insert", WRITER),
    Case("after_commit", WRITER),
    Case("before_hint", BEAT),
    Case("after_hint", BEAT),
    Case("after_claim", WORKER),
    Case("after_claim", WORKER, "mail"),
    Case("before_send", WORKER, "mail"),
    Case("after_send", WORKER, "mail"),
    Case("before_mark", WORKER),
    Case("before_mark", WORKER, "mail"),
    Case("after_mark", WORKER),
    Case("after_mark", WORKER, "mail"),
    Case("mid_pdf_write", WORKER, "paper"),
    Case("before_rename", WORKER, "paper"),
    Case("after_rename", WORKER, "paper"),
    Case("mid_batch", BEAT, rows=BATCH),
    Case("mid_batch", WORKER, rows=BATCH),
    Case("mid_batch", WORKER, "mail", rows=BATCH),
)
Found = dict[Case, Counter[str]]


# -- where a process ends ------------------------------------------------------------------------------------------


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def before(owner: Any, name: str) -> None:
    getattr(owner, name)  # a name that is gone must not pass for a point
    setattr(owner, name, lambda *_given, **_named: die())


def after(owner: Any, name: str) -> None:
    real = getattr(owner, name)

    def whole(*given: Any, **named: Any) -> None:
        real(*given, **named)
        die()

    setattr(owner, name, whole)


def in_the_middle_of_writing() -> None:
    """Half of it is with the system, and then the process ends."""
    from shop.papers import services

    real = services.os.fdopen

    class Half:
        def __init__(self, descriptor: int, mode: str) -> None:
            self._file = real(descriptor, mode)

        def __enter__(self) -> "Half":
            return self

        def __exit__(self, *_raised: object) -> None:
            self._file.close()

        def write(self, content: bytes) -> None:
            self._file.write(content[: len(content) // 2])
            self._file.flush()
            die()

    services.os.fdopen = Half  # type: ignore[assignment]


def arm(case: Case) -> None:
    """In the process that is to end: replace what stands at the point."""
    from shop.outbox import mail, services, tasks
    from tests.faults import roles

    points: dict[str, Callable[[], None]] = {
        "after_business_insert": lambda: before(services, "publish"),
        "after_outbox_insert": lambda: after(services, "publish"),
        "after_commit": lambda: after(roles, "commit"),
        "before_hint": lambda: before(tasks, "_hint"),
        "after_hint": lambda: after(tasks, "_hint"),
        "after_claim": lambda: after(services, "_lease"),
        "before_send": lambda: before(mail, "_hand_over"),
        "after_send": lambda: after(mail, "_hand_over"),
        "before_mark": lambda: before(services, "_end_run"),
        "after_mark": lambda: after(services, "deliver"),
        "mid_pdf_write": in_the_middle_of_writing,
        "before_rename": lambda: before(os, "replace"),
        "after_rename": lambda: after(os, "replace"),
        "mid_batch": lambda: after(*((tasks.deliver, "apply_async") if case.role == BEAT else (services, "deliver"))),
    }
    points[case.point]()


# -- who plays -----------------------------------------------------------------------------------------------------


def victim(case: Case, keys: list[str]) -> None:
    from django.conf import settings

    from shop.outbox import tasks
    from shop.outbox.loop import Loop
    from tests.faults import roles

    arm(case)
    if case.role == WRITER:
        roles.commit(keys[0], case.handler)
    elif case.role == BEAT:
        tasks.sweep()
    else:
        settings.EMBEDDED = True
        Loop()._round()


def healthy_beat() -> None:
    from shop.outbox import tasks

    while True:
        tasks.sweep()
        time.sleep(0.3)


def healthy_worker() -> None:
    from shop.celery import app

    warnings.simplefilter("ignore")  # that it runs as root, where the tests do
    app.Worker(
        pool="solo", loglevel="ERROR", quiet=True, without_gossip=True, without_mingle=True, without_heartbeat=True
    ).start()


# -- what a control breaks -----------------------------------------------------------------------------------------


def _ask_later(patch: pytest.MonkeyPatch) -> None:
    from tests.faults import roles

    patch.setattr(roles, "commit", roles.commit_and_ask_later)


def _mark_later(patch: pytest.MonkeyPatch) -> None:
    from shop.outbox import services
    from tests.faults import roles

    patch.setattr(services, "_do_here", roles.effect_first_and_mark_later)


def _send_again(patch: pytest.MonkeyPatch) -> None:
    from shop.outbox import services
    from tests.faults import roles

    patch.setattr(services, "_settled", roles.send_again)


def _write_in_place(patch: pytest.MonkeyPatch) -> None:
    from shop.papers import services
    from tests.faults import roles

    patch.setattr(services, "_write", roles.write_in_place)


def _hint_once(patch: pytest.MonkeyPatch) -> None:
    """Rows count as hinted at for good, before any hint is sent."""
    from django.utils import timezone

    from shop.outbox import services

    real = services.without_hint

    def marked_first(row_ids: Sequence[int], *, now: datetime) -> list[int]:
        left = real(row_ids, now=now)
        services.mark_hinted(left, until=timezone.now() + timedelta(days=1))
        return left

    patch.setattr(services, "without_hint", marked_first)


#: What is broken on purpose, and the cases that must come out wrong by it.
CONTROLS: dict[str, tuple[Callable[[pytest.MonkeyPatch], None], tuple[Case, ...]]] = {
    "ask later": (_ask_later, (Case("after_business_insert", WRITER), Case("after_outbox_insert", WRITER))),
    "mark later": (_mark_later, (Case("before_mark", WORKER),)),
    "send again": (_send_again, (Case("after_send", WORKER, "mail"), Case("before_mark", WORKER, "mail"))),
    "write in place": (_write_in_place, (Case("mid_pdf_write", WORKER, "paper"),)),
    "hint once": (_hint_once, (Case("before_hint", BEAT),)),
}


# -- one case ------------------------------------------------------------------------------------------------------


class Play:
    def __init__(self, patience: float) -> None:
        self._patience = patience

    def once(self, case: Case) -> str:
        """What became of it: "one effect", "one unknown", or what is wrong."""
        from tests.faults import roles

        keys = [uuid.uuid4().hex for _row in range(case.rows)]
        if case.role != WRITER:
            for key in keys:
                roles.commit(key, case.handler)
        if trouble := _ended_there(case, keys) or _half(case, keys):
            return f"wrong: {trouble}"
        if case.role == WRITER and not column(f"SELECT key FROM fault_business WHERE key = '{keys[0]}'"):
            roles.commit(keys[0], case.handler)  # who was told nothing asks again
        self._go_on(case, keys)
        return _verdict({_came_of(case, key) for key in keys})

    def _go_on(self, case: Case, keys: list[str]) -> None:
        if case.role == BEAT:
            self._by_hints(keys)
        else:
            _by_sweeps()

    def _by_hints(self, keys: list[str]) -> None:
        """A worker that hears of rows from Redis alone, and a beat."""
        from django.db import connections

        connections.close_all()
        children = [Child(lambda: fork(healthy_worker)), Child(lambda: fork(healthy_beat))]
        end = time.monotonic() + self._patience
        try:
            while _states(keys) != ["done"] * len(keys) and time.monotonic() < end:
                time.sleep(0.1)
        finally:
            connections.close_all()
            for child in children:
                child.kill()


def _ended_there(case: Case, keys: list[str]) -> str:
    from django.db import connections

    connections.close_all()  # what is forked must not inherit one
    pid = fork(lambda: victim(case, keys))
    end = time.monotonic() + PATIENCE
    while not (status := os.waitpid(pid, os.WNOHANG))[0]:
        if time.monotonic() > end:
            os.killpg(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
            return "the process hung before it came to this point"
        time.sleep(0.01)
    return "" if os.waitstatus_to_exitcode(status[1]) == -signal.SIGKILL else NOT_REACHED


def _half(case: Case, keys: list[str]) -> str:
    """What may not be seen even before anybody goes on."""
    from shop.outbox.models import Row
    from shop.papers.selectors import path_of
    from tests.faults import roles

    for key in keys:
        business = column(f"SELECT key FROM fault_business WHERE key = '{key}'")
        if bool(business) != Row.objects.filter(key=key).exists():
            return "a change without the row for its effect, or the row without the change"
        file = path_of(hashlib.sha256(roles.leaf(key)).hexdigest())
        if case.handler == "paper" and file.exists() and file.read_bytes() != roles.leaf(key):
            return "half a file under its final name"
    return ""


def _by_sweeps() -> None:
    """Healthy workers of later hours, so that nobody has to wait for a lease to run out."""
    from django.utils import timezone

    from shop.outbox import services

    later = timezone.now()
    for _hour in range(services.MOST_ATTEMPTS + 1):
        later += timedelta(hours=1)
        for row_id in services.due_rows(now=later):
            services.deliver(row_id, now=later, worker="healthy")


def _states(keys: list[str]) -> list[str]:
    from shop.outbox.models import Row

    return list(Row.objects.filter(key__in=keys).values_list("state", flat=True))


def _came_of(case: Case, key: str) -> str:
    from shop.outbox import mail
    from tests.faults import roles

    states = _states([key])
    if case.handler == "mail":
        effects = counting_office.taken(roles.book())[mail.message_id(key)]
    else:
        effects = len(column(f"SELECT key FROM fault_effect WHERE key = '{key}'"))
    if states == ["done"] and effects == 1 and (case.handler != "paper" or _kept(key)):
        return "one effect"
    if states == ["unknown"] and effects <= 1 and case.handler == "mail":
        return "one unknown"
    return f"wrong: {' and '.join(states) or 'no row'}, {effects} effects"


def _kept(key: str) -> bool:
    from shop.papers.models import Document
    from shop.papers.selectors import content
    from tests.faults import roles

    return content(Document.objects.get(name=f"{key}.pdf")) == roles.leaf(key)


def _verdict(came: set[str]) -> str:
    wrong = sorted(one for one in came if one.startswith("wrong"))
    return wrong[0] if wrong else "one unknown" if "one unknown" in came else "one effect"


# -- all of them ---------------------------------------------------------------------------------------------------


def play(cases: Iterable[Case], times: int, patience: float = PATIENCE) -> Found:
    from shop.outbox.models import Row

    played = Play(patience)
    found: Found = {case: Counter() for case in cases}
    for _time in range(times):
        for case in found:
            found[case][played.once(case)] += 1
            Row.objects.filter(state="pending").update(due_at=FAR)  # what a control left is not the next one's work
    return found


def play_controls() -> dict[str, list[str]]:
    """Of each control the cases that came out well, which they must not."""
    well: dict[str, list[str]] = {}
    for name, (breaks, cases) in CONTROLS.items():
        with pytest.MonkeyPatch.context() as patch:
            breaks(patch)
            found = play(cases, 1, CONTROL_PATIENCE)
        tell(found)
        well[name] = [str(case) for case, came in found.items() if not _wrong(came) or NOT_REACHED in str(came)]
        print(f"control: {name}: {len(cases) - len(well[name])} of {len(cases)} come out wrong, as they must")
    return well


def _wrong(came: Counter[str]) -> bool:
    return any(name.startswith("wrong") for name in came)


def tell(found: Found) -> None:
    for case, came in found.items():
        print(f"  {case!s:45} {', '.join(f'{name} x{count}' for name, count in sorted(came.items()))}")


def figures(found: Found) -> dict[str, Any]:
    points = {case.point for case in found}
    right = points - {case.point for case, came in found.items() if _wrong(came)}
    kills = sum(came.total() for came in found.values())
    return {
        "points": len(points),
        "right": len(right),
        "kills": kills,
        "one effect": sum(came["one effect"] for came in found.values()),
        "one unknown": sum(came["one unknown"] for came in found.values()),
    }


def main() -> int:
    parser = argparse.ArgumentParser(description="End a process at each point where ending hurts most.")
    parser.add_argument("--db", choices=["sqlite", "postgres"], default="sqlite")
    parser.add_argument("--times", type=int, default=1)
    parser.add_argument("--controls", action="store_true", help="then break one rule after the other, and play again")
    arguments = parser.parse_args()
    with ExitStack() as kept:
        redis, port = stage.Redis(), stage.free_port()
        kept.callback(redis.close)
        redis.start()
        os.environ |= counting_office.account(port)
        kept.enter_context(stage.home(arguments.db, redis.url))
        stage.build()
        from tests.faults import roles

        kept.callback(open_office(port).kill)
        roles.sink().mkdir()
        roles.register()
        found = play(CASES, arguments.times)
        tell(found)
        told = figures(found)
        well = play_controls() if arguments.controls else {}
        stage.leave_database()
    print(f"{told['kills']} kills: {told['one effect']} one effect, {told['one unknown']} one unknown row")
    print(f"{told['right']} of {told['points']}")
    print(json.dumps(told | {"controls that came out well": well}))
    return 1 if told["right"] < told["points"] or any(well.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
