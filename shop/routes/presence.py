"""Who is on which task just now. The room that keeps the clock says so; without it nobody is."""

from collections.abc import Callable, Collection, Mapping

#: Task to the people who are on it, by their keys.
OnTasks = Mapping[int, Collection[int]]
_read: Callable[[], OnTasks] | None = None


def register(read: Callable[[], OnTasks]) -> None:
    global _read
    _read = read


def on_tasks() -> OnTasks:
    """Task to the people who are on it now, by their keys; tasks that nobody is on are left out."""
    return _read() if _read is not None else {}
