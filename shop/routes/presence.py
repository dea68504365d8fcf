"""Who is on which task just now, and which tasks have time on them. The room that keeps the clock says so; without it none."""

from collections.abc import Callable, Collection, Mapping

#: Task to the people who are on it, by their keys.
OnTasks = Mapping[int, Collection[int]]
_read: Callable[[], OnTasks] | None = None
_timed: Callable[[Collection[int]], Collection[int]] | None = None


def register(read: Callable[[], OnTasks], timed: Callable[[Collection[int]], Collection[int]]) -> None:
    global _read, _timed
    _read, _timed = read, timed


def on_tasks() -> OnTasks:
    """Task to the people who are on it now, by their keys; tasks that nobody is on are left out."""
    return _read() if _read is not None else {}


def with_time(tasks: Collection[int]) -> Collection[int]:
    """Those of ``tasks``, by their keys, on which somebody is or was."""
    return _timed(tasks) if _timed is not None else ()
