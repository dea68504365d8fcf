"""Races between real processes: threads share Python's lock and race too seldom."""

import multiprocessing
import os
import traceback
from collections.abc import Callable
from typing import Any

from django.db import connections

_fork = multiprocessing.get_context("fork")
#: How long a race may take [s]; the long forms run for minutes.
PATIENCE = 600.0 if os.environ.get("BAREFRAME_LONG") == "1" else 60.0


def race(function: Callable[[int], Any], count: int) -> list[Any]:
    """Call ``function(0)`` ... ``function(count - 1)`` at once, each in a process of its own; their answers in order.

    Must be called outside a transaction, in a ``transaction=True`` test: every process has its own connection.
    """
    connections.close_all()  # a connection carried over a fork is shared by both sides, which ruins it
    barrier = _fork.Barrier(count)
    runners = []
    for number in range(count):
        ours, theirs = _fork.Pipe(duplex=False)
        process = _fork.Process(target=_run, args=(function, number, barrier, theirs))
        process.start()
        theirs.close()
        runners.append((process, ours))
    answers = [_answer(process, ours) for process, ours in runners]
    failures = [answer for ok, answer in answers if not ok]
    if failures:
        raise AssertionError("\n".join(map(str, failures)))
    return [answer for _ok, answer in answers]


def _run(function: Callable[[int], Any], number: int, barrier: Any, pipe: Any) -> None:
    try:
        barrier.wait(PATIENCE)
        pipe.send((True, function(number)))
    except BaseException:
        pipe.send((False, traceback.format_exc()))
    finally:
        connections.close_all()
        os._exit(0)  # none of the test runner's exit hooks


def _answer(process: Any, pipe: Any) -> tuple[bool, Any]:
    try:
        answer: tuple[bool, Any] = pipe.recv() if pipe.poll(PATIENCE) else (False, "no answer")
    except EOFError:
        answer = (False, "died without an answer")
    process.join(PATIENCE)
    if process.is_alive():
        process.kill()
    return answer


def environment(**more: str) -> dict[str, str]:
    """For a process of its own that is to meet the same test database."""
    given = connections["default"].settings_dict
    if connections["default"].vendor == "sqlite":
        url = f"sqlite:///{given['NAME']}"
    else:
        url = f"postgres://{given['USER']}@{given['HOST']}:{given['PORT']}/{given['NAME']}"
    return os.environ | {"BAREFRAME_DATABASE": url, "BAREFRAME_TESTING": "1"} | more
