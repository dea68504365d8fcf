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


def lives(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def main() -> None:
    for ignored in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(ignored, signal.SIG_IGN)
    groups = groups_at_the_end()
    end = time.monotonic() + PATIENCE
    while any(map(lives, groups)) and time.monotonic() < end:
        time.sleep(0.1)
    for group in filter(lives, groups):
        with contextlib.suppress(ProcessLookupError):
            os.killpg(group, signal.SIGKILL)


if __name__ == "__main__":
    main()
