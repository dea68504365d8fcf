"""How long something takes, on this machine, now."""

import gc
import time
from collections.abc import Callable
from statistics import median

Work = Callable[[], object]
Clock = Callable[[], float]

#: What a computation takes of the processor; whatever else the machine does meanwhile does not count.
PROCESSOR = time.process_time
WALL = time.perf_counter


def seconds(work: Work, *, rounds: int = 9, clock: Clock = PROCESSOR) -> float:
    """The median of ``rounds``."""
    return side_by_side(work, rounds=rounds, clock=clock)[0]


def side_by_side(*works: Work, rounds: int = 9, clock: Clock = PROCESSOR) -> list[float]:
    """The median of each, measured in turns, so that what else the machine does falls on all of them alike."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(rounds):
        for work, taken in zip(works, times, strict=True):
            taken.append(_once(work, clock))
    return [median(taken) for taken in times]


def _once(work: Work, clock: Clock) -> float:
    gc.collect()
    start = clock()
    kept = work()
    taken = clock() - start
    del kept
    return taken
