"""When the workshop, and anyone in a country, works: hours, holidays, closures."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from functools import lru_cache

from django.utils.translation import gettext as _

from quotes.engine.errors import BadInput
from quotes.engine.inputs import Calendar
from shop.people.models import Closure, Shop, ShopHours

#: Monday to Friday, 8 to 12 and 13 to 17 [min after midnight], where the workshop has not said otherwise.
USUAL_HOURS = tuple((day, opens, closes) for day in range(5) for opens, closes in ((480, 720), (780, 1020)))
#: No restoration is planned further ahead than this [years].
AHEAD = 4


@lru_cache(maxsize=64)
def holidays(country: str, subdivision: str, year: int) -> tuple[str, ...]:
    """The public holidays of a year as ISO days. Raises `BadInput` for a country or region nobody here knows."""
    import holidays as table  # takes 20 ms, and a price does not need it

    try:
        found = table.country_holidays(country, subdiv=subdivision or None, years=year)
    except NotImplementedError:
        raise BadInput(
            "There are no holidays known for “{place}”. Give the two letters of a country, and of its region if it has its own.",
            field="country",
            place=" ".join(word for word in (country, subdivision) if word),
        ) from None
    return tuple(sorted(day.isoformat() for day in found))


def countries() -> list[str]:
    """The two letters of every country whose public holidays are known."""
    import holidays as table

    return sorted(code for code in table.list_supported_countries(include_aliases=False) if len(code) == 2)


def closed_days(country: str, subdivision: str, first: date, spans: Iterable[tuple[date, date]]) -> tuple[str, ...]:
    """Holidays from the year of ``first`` on, with every day of ``spans``."""
    days = (
        {day for year in range(first.year, first.year + AHEAD) for day in holidays(country, subdivision, year)}
        if country
        else set()
    )
    for begin, end in spans:
        days.update((begin + timedelta(days=n)).isoformat() for n in range((end - begin).days + 1))
    return tuple(sorted(days))


def known_until(country: str, first: date) -> str:
    """The last day the holidays are looked up for; empty where there are none to look up."""
    return date(first.year + AHEAD - 1, 12, 31).isoformat() if country else ""


def shop_calendar(*, shop: Shop | None, first: date) -> Calendar:
    """The workshop's calendar for a plan that begins on ``first``. Two queries."""
    hours: Sequence[tuple[int, int, int]] = [
        (row.weekday, row.opens.hour * 60 + row.opens.minute, row.closes.hour * 60 + row.closes.minute)
        for row in ShopHours.objects.order_by("weekday", "opens")
    ]
    country, subdivision = (shop.country, shop.subdivision) if shop else ("", "")
    spans = Closure.objects.filter(last__gte=first).values_list("first", "last")
    return Calendar(
        key="",
        name=_("the workshop"),
        hours=tuple(hours) or USUAL_HOURS,
        closed=closed_days(country, subdivision, first, spans),
        known_until=known_until(country, first),
    )
