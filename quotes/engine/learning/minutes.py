"""Attended minutes of very many clockings at once: the arithmetic of `quotes.engine.attended` on arrays, break by break the same."""

from collections.abc import Iterable, Sequence

import numpy as np

#: Task, person, the minutes of the UTC time line at which a clocking begins and ends, and whether it goes through breaks.
Clocked = tuple[int, int, int, int, int]


def on_tasks(rows: Iterable[Clocked], breaks: Sequence[tuple[int, int]]) -> dict[int, dict[int, int]]:
    """Task to person to minutes on it [min]; ``breaks`` lie in order and apart, as `attended.breaks_between` gives them.

    >>> on_tasks([(7, 1, 600, 840, 0), (7, 2, 600, 840, 1)], [(720, 750)])
    {7: {1: 210, 2: 240}}
    """
    table = np.array(list(rows), dtype=np.int64).reshape(-1, 5)
    if not len(table):
        return {}
    task, person, begin, end, through = table.T
    minutes = end - begin - np.where(through > 0, 0, _broken(end, breaks) - _broken(begin, breaks))
    order = np.lexsort((person, task))
    task, person, minutes = task[order], person[order], minutes[order]
    first = np.flatnonzero(np.r_[True, (task[1:] != task[:-1]) | (person[1:] != person[:-1])])
    sums = np.add.reduceat(minutes, first)
    found: dict[int, dict[int, int]] = {}
    for number, who, total in zip(task[first].tolist(), person[first].tolist(), sums.tolist(), strict=True):
        found.setdefault(number, {})[who] = total
    return found


def _broken(at: np.ndarray, breaks: Sequence[tuple[int, int]]) -> np.ndarray:
    """Minutes of ``breaks`` before each instant."""
    if not breaks:
        return np.zeros_like(at)
    begins, ends = (np.array(each, dtype=np.int64) for each in zip(*breaks, strict=True))
    before = np.concatenate(([0], np.cumsum(ends - begins)))
    index = np.searchsorted(begins, at, side="right")
    inside = np.where(index > 0, np.minimum(at, ends[index - 1]) - begins[index - 1], 0)
    found: np.ndarray = np.where(index > 0, before[np.maximum(index - 1, 0)], 0) + inside
    return found
