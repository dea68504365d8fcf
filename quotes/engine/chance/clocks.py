"""Working time for many trials at once: the calendars of `quotes.engine.calendars` as tables to look up in.

Instants are minutes from the midnight of the first day. What would lie beyond the last day of the tables is put on it,
so that whoever sees an end there knows that the tables are too short.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quotes.engine.calendars import DAY, WorkingTime
from quotes.engine.passes import Times

Ints = NDArray[np.int64]


class Clock:
    """One calendar up to the day ``until``."""

    def __init__(self, working: WorkingTime, until: int) -> None:
        first = working.first
        spans = np.array(working.spans_until(until), dtype=np.int64).reshape(-1, 2) - first * DAY
        self.begins: Ints = spans[:, 0]
        self.ends: Ints = spans[:, 1]
        self.longest = working.longest
        size = (until - first + 1) * DAY
        steps = np.zeros(size + 1, dtype=np.int64)
        steps[spans[:, 0]] += 1
        np.subtract.at(steps, spans[:, 1], 1)
        is_open = np.cumsum(steps)[:-1]
        #: Minutes worked until each minute, and the minute until which so many are worked.
        self.worked: Ints = np.concatenate(([0], np.cumsum(is_open)))
        minutes = np.flatnonzero(is_open)
        self.when: Ints = np.concatenate(([0], minutes + 1))
        #: When the work after so many minutes begins.
        self.opens: Ints = np.concatenate((minutes, [size]))
        self.days: Ints = np.array(working.days_until(until), dtype=np.int64) - first
        self.closings: Ints = np.array([working.closing(int(day) + first) for day in self.days]) - first * DAY
        #: How many working days have closed before each minute, and come before each day.
        self.closed: Ints = np.cumsum(np.bincount(self.closings + 1, minlength=size + 1))
        self.index: Ints = np.searchsorted(self.days, np.arange(until - first + 2), "left")

    def worked_by(self, at: Ints) -> Ints:
        """Minutes worked until ``at``."""
        return self.worked.take(at, mode="clip")

    def add(self, at: Ints, minutes: Ints) -> Ints:
        """When ``minutes`` begun at ``at`` are worked."""
        return np.maximum(at, self.when.take(self.worked_by(at) + minutes, mode="clip"))

    def opening(self, at: Ints) -> Ints:
        """The first instant from ``at`` on at which somebody works."""
        return self.opens.take(self.worked_by(at), mode="clip")

    def subtract(self, at: Ints, minutes: Ints) -> Ints:
        """The latest instant from which ``minutes``, one at least, are worked by ``at``."""
        return self.opens.take(self.worked_by(at) - minutes, mode="clip")

    def together(self, at: Ints, minutes: Ints) -> Ints:
        """The first instant from ``at`` on from which ``minutes`` are worked without a stop, if ever."""
        k = np.searchsorted(self.ends, at, "right")
        while True:
            begin = np.maximum(at, self.begins.take(k, mode="clip"))
            short = (
                (self.ends.take(k, mode="clip") - begin < minutes) & (minutes <= self.longest) & (k < len(self.ends))
            )
            if not short.any():
                return np.where(minutes <= self.longest, begin, self.opening(at))
            k = k + short

    def together_by(self, at: Ints, minutes: Ints) -> Ints:
        """The latest instant from which ``minutes`` are worked by ``at`` as `together` has it."""
        k = np.searchsorted(self.begins, at, "right") - 1
        while True:
            begin = np.minimum(at, self.ends.take(k, mode="clip")) - minutes
            short = (begin < self.begins.take(k, mode="clip")) & (minutes <= self.longest) & (k >= 0)
            if not short.any():
                return np.where(minutes <= self.longest, begin, self.subtract(at, minutes))
            k = k - short

    def day_at(self, at: Ints) -> Ints:
        """The first working day that closes at ``at`` or later."""
        return self.days.take(self.closed.take(at, mode="clip"), mode="clip")

    def after(self, day: Ints, days: Ints | int) -> Ints:
        """The working day ``days`` after the first one from ``day`` on."""
        return self.days.take(self.index.take(day, mode="clip") + days, mode="clip")

    def closing(self, day: Ints) -> Ints:
        """When the working day ``day`` closes."""
        return self.closings.take(self.index.take(day, mode="clip"), mode="clip")


@dataclass(frozen=True, slots=True)
class Clocks:
    """The calendars of a plan as tables; no end from ``limit`` on is true."""

    shop: Clock
    bike: Clock
    vendors: dict[str, Clock]
    limit: int

    @classmethod
    def of(cls, times: Times, until: int) -> "Clocks":
        """The tables of ``times`` up to the day ``until``."""
        made = {id(item): Clock(item, until) for item in (times.shop, times.bike, *times.vendors.values())}
        vendors = {key: made[id(item)] for key, item in times.vendors.items()}
        limit = min(int(clock.days[-1]) for clock in made.values()) * DAY
        return cls(made[id(times.shop)], made[id(times.bike)], vendors, limit)
