"""Working days, counted forward and back. Pure."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date, timedelta

ONE = timedelta(days=1)
#: Longer than anybody is shut; past it days are counted as they come.
LONGEST = 400


@dataclass(frozen=True, slots=True)
class WorkingDays:
    """``weekdays`` from 0 for Monday on which somebody works, less the ISO days in ``closed``."""

    weekdays: Collection[int]
    closed: Collection[str] = frozenset()

    def works(self, day: date) -> bool:
        return day.weekday() in self.weekdays and day.isoformat() not in self.closed

    def shift(self, day: date, count: int) -> date:
        """The working day so many after ``day``, or before it where ``count`` is negative; ``day`` itself for none.

        >>> WorkingDays({0, 1, 2, 3, 4}).shift(date(2026, 3, 6), 1)  # from a Friday
        datetime.date(2026, 3, 9)
        """
        step = ONE if count > 0 else -ONE
        for _number in range(abs(count)):
            day = _next(day, step, self.works)
        return day


def _next(day: date, step: timedelta, works: Callable[[date], bool]) -> date:
    ahead = (day + step * number for number in range(1, LONGEST))
    return next((one for one in ahead if works(one)), day + step)
