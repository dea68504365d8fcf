"""What a calendar shows: rows from day to day, and the ready day."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

MOST = 14
Span = tuple[date, date]


@dataclass(frozen=True, kw_only=True)
class Row:
    """From the earliest ``start`` to the earliest ``finish``, both days taking part; it may slip until ``latest``.

    ``must_leave``: the last day on which a lot may leave. ``held``: first and last days on which nothing may be done.
    Raises ``ValueError`` for a row that ends before it starts.
    """

    label: str
    start: date
    finish: date
    latest: date | None = None
    drives: bool = False
    must_leave: date | None = None
    held: tuple[Span, ...] = ()

    def __post_init__(self) -> None:
        if self.finish < self.start or (self.latest or self.finish) < self.finish:
            raise ValueError("A row of a calendar starts, finishes, and slips in this order.")
        if any(last < first for first, last in self.held):
            raise ValueError("Held days go from a first to a last day.")

    @property
    def end(self) -> date:
        return self.latest or self.finish

    @property
    def days(self) -> list[date]:
        extra = [self.must_leave] if self.must_leave else []
        return [self.start, self.end, *extra, *(day for span in self.held for day in span)]


@dataclass(frozen=True, kw_only=True)
class Calendar:
    """``closed`` are the days on which the shop is shut: weekends, holidays, its own. ``kept`` is kept ``kept_chance``."""

    rows: tuple[Row, ...]
    closed: frozenset[date]
    likely: date
    kept: date
    promised: date | None = None
    kept_chance: Decimal = Decimal("0.8")

    @property
    def shown(self) -> list[Row]:
        """What drives the day and what can slip least, in order of time."""
        urgent = sorted(self.rows, key=lambda row: (not row.drives, row.end - row.finish, row.start, row.label))
        return sorted(urgent[:MOST], key=lambda row: (row.start, row.finish, row.label))

    @property
    def driving(self) -> list[Row]:
        return sorted((row for row in self.rows if row.drives), key=lambda row: (row.start, row.finish, row.label))
