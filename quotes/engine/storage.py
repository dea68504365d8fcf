"""What storage comes to while a bike is held for the customer's reasons.

Days are calendar days, both ends included. Holds that overlap or follow one another without a day between them are one
stretch: each day counts once. Of every stretch the first days are free; from its ``after``-th day on each day is charged.

With ``after`` 5 and 4.00 a day:

| held                        | stretches          | days | charged | storage |
| 1 to 4 March                | 1 to 4             |    4 |       0 |    0.00 |
| 1 to 5 March                | 1 to 5             |    5 |       1 |    4.00 |
| 1 to 6 and 4 to 10 March    | 1 to 10            |   10 |       6 |   24.00 |
| 1 to 6 and 7 to 10 March    | 1 to 10            |   10 |       6 |   24.00 |
| 1 to 6 and 8 to 10 March    | 1 to 6, 8 to 10    | 6, 3 |    2, 0 |    8.00 |
| from 1 March, on 12 March   | 1 to 12            |   12 |       8 |   32.00 |
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from quotes.engine.errors import BadInput

DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Terms:
    """Storage is charged from day ``after`` of a stretch on, at ``rate`` [money a day before tax]."""

    after: int
    rate: Decimal

    def __post_init__(self) -> None:
        """Refuse terms that charge before the first day, or pay the customer."""
        if self.after < 1 or self.rate < 0:
            raise BadInput("Storage is charged from day 1 at the earliest, at 0 or more a day.", field="storage")


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days held without a break, of which ``charged`` cost ``amount`` [money before tax]."""

    first: date
    last: date
    charged: int
    amount: Decimal

    @property
    def days(self) -> int:
        """How long it is."""
        return (self.last - self.first).days + 1


def stretches(held: Iterable[tuple[date, date | None]], until: date) -> list[tuple[date, date]]:
    """The days ``held`` up to ``until`` as stretches, in order; a hold without a last day lasts until then.

    >>> march = lambda day: date(2026, 3, day)
    >>> [(a.day, b.day) for a, b in stretches([(march(4), None), (march(1), march(3))], march(9))]
    [(1, 9)]
    """
    found: list[tuple[date, date]] = []
    for first, last in sorted((first, min(last or until, until)) for first, last in held):
        if last < first:  # not begun yet
            continue
        if found and first <= found[-1][1] + DAY:
            found[-1] = (found[-1][0], max(found[-1][1], last))
        else:
            found.append((first, last))
    return found


def storage(
    held: Iterable[tuple[date, date | None]], until: date, terms: Callable[[date], Terms]
) -> tuple[Stretch, ...]:
    """Each stretch held up to ``until`` with what it costs, by the ``terms`` of its first day."""
    return tuple(_stretch(first, last, terms(first)) for first, last in stretches(held, until))


def _stretch(first: date, last: date, terms: Terms) -> Stretch:
    charged = max((last - first).days + 1 - (terms.after - 1), 0)
    return Stretch(first, last, charged, terms.rate * charged)
