"""Weeks as books have them: Monday to Sunday, the last one that was closed, the one that can be closed next."""

from datetime import date, timedelta

from quotes.margin.models import Close

WEEK = timedelta(days=7)


def week_of(day: date) -> date:
    """The Monday of a day's week.

    >>> week_of(date(2026, 3, 8)), week_of(date(2026, 3, 9))
    (datetime.date(2026, 3, 2), datetime.date(2026, 3, 9))
    """
    return day - timedelta(days=day.weekday())


def last_day(week: date) -> date:
    """The Sunday of the week that begins on ``week``."""
    return week + WEEK - timedelta(days=1)


def last_close() -> Close | None:
    return Close.objects.order_by("-week").first()


def to_close(today: date) -> date | None:
    """The week that is over and not closed: the last one before this week. None where it is closed already."""
    week = week_of(today) - WEEK
    known = last_close()
    return None if known is not None and known.week >= week else week
