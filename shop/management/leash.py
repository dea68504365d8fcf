"""Ends the supervisor's children when the supervisor was killed outright. Standard library only: it runs alone.

Standard input is a pipe whose other end only the supervisor holds. Lines ``+ 123`` and ``- 123`` tell which process
groups live. At the end of the pipe the supervisor is gone: its children were sent SIGTERM by the kernel then, and what
has not ended a few seconds later is killed, with all that it started.
"""

import contextlib
import os
import signal
import sys
import time

PATIENCE = 6.0


def groups_at_the_end() -> set[int]:
    groups: set[int] = set()
    for line in sys.stdin:
        sign, number = line.split()
        (groups.add if sign == "+" else groups.discard)(int(number))
    return groups


def exists(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    return True


def kill_group(group: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(group, signal.SIGKILL)


def main() -> None:
    for ignored in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(ignored, signal.SIG_IGN)
    leaders = groups_at_the_end()
    end = time.monotonic() + PATIENCE
    while leaders:
        done = {leader for leader in leaders if not exists(leader) or time.monotonic() > end}
        for group in done:  # a leader that has ended leaves what it started to nobody
            kill_group(group)
        leaders -= done
        time.sleep(0.05)


if __name__ == "__main__":
    main()
