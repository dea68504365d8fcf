"""Looking at real processes: who lives, and who belongs to a test."""

import os
import time
from collections.abc import Callable
from pathlib import Path


def alive(token: object) -> list[int]:
    """Processes whose command line holds ``token``; the dead but unburied have none."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit() and int(folder.name) != os.getpid():
            try:
                line = (folder / "cmdline").read_bytes()
            except OSError:
                continue
            if str(token).encode() in line:
                found.append(int(folder.name))
    return found


def wait_for(condition: Callable[[], object], *, seconds: float) -> float:
    """Wait until ``condition`` holds; returns how long that took. Fails the test when it never does."""
    began = time.monotonic()
    while not condition():
        if time.monotonic() - began > seconds:
            raise AssertionError(f"not within {seconds} s: {condition}")
        time.sleep(0.05)
    return time.monotonic() - began
