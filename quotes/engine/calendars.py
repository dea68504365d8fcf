"""Working time: a calendar as a monotone map between the clock and the minutes worked.

An instant is a whole number of minutes [min] on the shop's own clock, counted from the first day of the era; a day is
`date.toordinal()`. With W(t) the minutes worked until t, adding m minutes to t gives the earliest u with W(u) ≥ W(t) + m,
and subtracting them from u the latest t whose sum is not after u: generalised inverses, so that what closes at five
and opens at eight has no instant between. Everything is a look-up in a table that grows as far as it is asked.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from itertools import pairwise

from quotes.engine.errors import BadInput
from quotes.engine.inputs import Calendar, Held

DAY = 1440
_YEAR = 366
_TOO_LONG = 100 * _YEAR


def day_of(text: str, *, field: str = "") -> int:
    """The day of an ISO date. Raises `BadInput` for what is none."""
    try:
        return date.fromisoformat(text).toordinal()
    except ValueError:
        raise BadInput("“{day}” is not a day. Write it like 2026-12-31.", field=field, day=text) from None


def day_text(day: int) -> str:
    """A day as an ISO date.

    >>> day_text(day_of("2026-02-28") + 1)
    '2026-03-01'
    """
    return date.fromordinal(day).isoformat()


def instant_text(at: int) -> str:
    """An instant as ISO date and time, to the minute.

    >>> instant_text(day_of("2026-03-01") * DAY + 485)
    '2026-03-01T08:05'
    """
    return f"{day_text(at // DAY)}T{at % DAY // 60:02}:{at % 60:02}"


def instant_of(text: str) -> int:
    """The instant of an ISO date and time."""
    moment = datetime.fromisoformat(text)
    return moment.toordinal() * DAY + moment.hour * 60 + moment.minute


def check(calendar: Calendar) -> None:
    """Raise `BadInput` unless ``calendar`` has hours on some day, and hours that make sense."""
    for weekday, opens, closes in calendar.hours:
        if not (0 <= weekday <= 6 and 0 <= opens < closes <= DAY):
            raise BadInput(
                "{name} opens at {opens} and closes at {closes}. Let it open before it closes, on the same day.",
                field="hours",
                name=calendar.name,
                opens=_clock(opens),
                closes=_clock(closes),
            )
    if not calendar.hours:
        raise BadInput(
            "{name} has no working day. Give it hours on one day at least.", field="hours", name=calendar.name
        )
    spans = sorted(calendar.hours)
    for (weekday, _, closes), (next_weekday, opens, _) in pairwise(spans):
        if weekday == next_weekday and opens < closes:
            raise BadInput(
                "{name} has hours that overlap: one opens at {opens}, before another closes at {closes}.",
                field="hours",
                name=calendar.name,
                opens=_clock(opens),
                closes=_clock(closes),
            )


def _clock(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"


def held_days(held: Iterable[Held]) -> frozenset[int]:
    """Every day of the ``held`` spans. Raises `BadInput` for a span that ends before it begins."""
    days: set[int] = set()
    for span in held:
        first, last = day_of(span.first, field="held"), day_of(span.last, field="held")
        if last < first:
            raise BadInput(
                "It is held from {first} to {last}. Give the first day first.",
                field="held",
                first=span.first,
                last=span.last,
            )
        days.update(range(first, last + 1))
    return frozenset(days)


def check_known(calendar: Calendar, until: int) -> None:
    """Raise `BadInput` when the closed days of ``calendar`` are not known until the day ``until``."""
    if calendar.known_until and day_of(calendar.known_until, field="known_until") < until:
        raise BadInput(
            "The holidays of {name} are known until {known}, and the plan runs until {until}. Add those that follow.",
            field="known_until",
            name=calendar.name,
            known=calendar.known_until,
            until=day_text(until),
        )


def there_and_back(shop: "WorkingTime", vendor: "WorkingTime", day: int, *, road: int, lead: int) -> int:
    """The day on which a lot is back that leaves on ``day``: ``road`` days each way, ``lead`` days of the ``vendor``'s between."""
    return shop.after(vendor.after(shop.after(day, road), lead), road)


class WorkingTime:
    """The working time of ``calendar`` from the day ``first`` on, without the days ``held``.

    Raises `BadInput` for a calendar that makes no sense. Instants and days asked about must not lie before ``first``.
    """

    def __init__(self, calendar: Calendar, first: int, held: frozenset[int] = frozenset()) -> None:
        check(calendar)
        self.calendar = calendar
        self.first = first
        self._off = held | {day_of(day, field="closed") for day in calendar.closed}
        self._week: list[list[tuple[int, int]]] = [[] for _ in range(7)]
        for weekday, opens, closes in sorted(calendar.hours):
            self._week[weekday].append((opens, closes))
        #: The longest time without a stop [min].
        self.longest = max(closes - opens for _, opens, closes in calendar.hours)
        self._until = first
        self._opens: list[int] = []
        self._ends: list[int] = []
        self._worked: list[int] = []  # until the span ends
        self._days: list[int] = []
        self._closings: list[int] = []
        self._reach_day(first + 2 * _YEAR)

    def worked(self, at: int) -> int:
        """Minutes worked until ``at``."""
        self._reach_day(at // DAY + 1)
        k = bisect_right(self._opens, at) - 1
        if k < 0:
            return 0
        return self._worked[k] - max(0, self._ends[k] - at)

    def opening(self, at: int) -> int:
        """The first instant from ``at`` on at which somebody works."""
        k = bisect_right(self._ends, at)
        while k >= len(self._ends):
            self._grow()
            k = bisect_right(self._ends, at)
        return max(at, self._opens[k])

    def add(self, at: int, minutes: int) -> int:
        """The instant at which ``minutes`` begun at ``at`` are worked; ``at`` itself for none."""
        return self._when(self.worked(at) + minutes) if minutes else at

    def subtract(self, at: int, minutes: int) -> int:
        """The latest instant from which ``minutes`` are worked by ``at``."""
        if not minutes:
            return at
        left = self.worked(at) - minutes
        if left < 0:
            raise ValueError(f"{self.calendar.name} has no {minutes} minutes so early in its table")
        return self.opening(self._when(left))

    def together(self, at: int, minutes: int) -> int:
        """The first instant from ``at`` on from which ``minutes`` are worked without a stop.

        Just the next opening where no span of the week is that long.
        """
        if minutes > self.longest:
            return self.opening(at)
        self.opening(at)
        k = bisect_right(self._ends, at)
        while self._ends[k] - max(at, self._opens[k]) < minutes:
            k += 1
            if k == len(self._ends):
                self._grow()
        return max(at, self._opens[k])

    def together_by(self, at: int, minutes: int) -> int:
        """The latest instant from which ``minutes`` are worked by ``at`` as `together` has it."""
        if minutes > self.longest:
            return self.subtract(at, minutes)
        self._reach_day(at // DAY + 1)
        k = self._not_before(bisect_right(self._opens, at) - 1)
        while (begin := min(at, self._ends[k]) - minutes) < self._opens[k]:
            k = self._not_before(k - 1)
        return begin

    def begin_by(self, at: int) -> int:
        """The latest instant up to ``at`` at which work can begin."""
        return at if self.opening(at) == at else self._when(self.worked(at)) - 1

    def day_at(self, at: int) -> int:
        """The first working day that closes at ``at`` or later."""
        while self._closings[-1] < at:
            self._grow()
        return self._days[bisect_left(self._closings, at)]

    def closed_by(self, at: int) -> int:
        """The last working day that has closed by ``at``."""
        self._reach_day(at // DAY + 1)
        return self._days[self._not_before(bisect_right(self._closings, at) - 1)]

    def closing(self, day: int) -> int:
        """The instant at which the last working day up to ``day`` closes."""
        return self._closings[self._last(day)]

    def after(self, day: int, days: int) -> int:
        """The working day ``days`` after the first one from ``day`` on."""
        self._reach_day(day)
        k = bisect_left(self._days, day) + days
        while k >= len(self._days):
            self._grow()
        return self._days[k]

    def before(self, day: int, days: int) -> int:
        """The last day from which ``days`` working days later is not after ``day``."""
        return self._days[self._not_before(self._last(day) - days)]

    def days_until(self, day: int) -> Sequence[int]:
        """All working days up to ``day``."""
        self._reach_day(day + 1)
        return self._days[: bisect_right(self._days, day)]

    def spans_until(self, day: int) -> Sequence[tuple[int, int]]:
        """All spans worked up to ``day``, as (opens, closes)."""
        self._reach_day(day + 1)
        count = bisect_right(self._opens, (day + 1) * DAY - 1)
        return list(zip(self._opens[:count], self._ends[:count], strict=True))

    def comes_on(self, day: int) -> int:
        """The working day on which what is told for ``day`` can still come: the first from then on, and from the first."""
        return self.after(max(day, self.first), 0)

    def _when(self, worked: int) -> int:
        """The earliest instant until which ``worked`` minutes are worked."""
        while self._worked[-1] < worked:
            self._grow()
        k = bisect_left(self._worked, worked)
        return self._ends[k] - (self._worked[k] - worked)

    def _last(self, day: int) -> int:
        self._reach_day(day + 1)
        return self._not_before(bisect_right(self._days, day) - 1)

    def _not_before(self, index: int) -> int:
        if index < 0:
            raise ValueError(f"{self.calendar.name} has no working day so early in its table")
        return index

    def _reach_day(self, day: int) -> None:
        while self._until < day or not self._days:
            self._grow()

    def _grow(self) -> None:
        """Add what has been there so far again, at least a year."""
        if self._until - self.first > _TOO_LONG:
            raise BadInput("This plan does not end within a hundred years. Look for a time that is far too long.")
        worked = self._worked[-1] if self._worked else 0
        for day in range(self._until, self._until + max(_YEAR, self._until - self.first)):
            spans = self._week[(day + 6) % 7] if day not in self._off else ()
            for opens, closes in spans:
                worked += closes - opens
                self._opens.append(day * DAY + opens)
                self._ends.append(day * DAY + closes)
                self._worked.append(worked)
            if spans:
                self._days.append(day)
                self._closings.append(self._ends[-1])
            self._until = day + 1
