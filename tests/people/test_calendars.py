"""When the workshop works: its hours, the holidays of its country, and the days it is shut."""

from datetime import date, time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine.calendars import DAY, WorkingTime, day_of
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Calendar
from shop.people.calendars import AHEAD, USUAL_HOURS, shop_calendar
from shop.people.models import Closure, Shop, ShopHours

pytestmark = pytest.mark.django_db

#: Source: SOURCES 13, bank holidays of England and Wales as the government publishes them.
PUBLISHED = {
    2020: "01-01 04-10 04-13 05-08 05-25 08-31 12-25 12-28",
    2021: "01-01 04-02 04-05 05-03 05-31 08-30 12-27 12-28",
    2022: "01-03 04-15 04-18 05-02 06-02 06-03 08-29 12-26 12-27",
    2023: "01-02 04-07 04-10 05-01 05-29 08-28 12-25 12-26",
}
#: Announced after that list was read, by the same publisher.
SINCE = {"2022-09-19", "2023-05-08"}


@pytest.fixture
def shop() -> Shop:
    return Shop.objects.create(name="Hollow Lane Works", country="GB", subdivision="ENG")


def weekdays(days: tuple[str, ...], year: int) -> set[str]:
    return {day for day in days if day.startswith(str(year)) and date.fromisoformat(day).weekday() < 5}


@pytest.mark.parametrize("year", PUBLISHED)
def test_a_shop_in_england_is_shut_on_the_published_bank_holidays_and_on_no_other_weekday(
    shop: Shop, year: int
) -> None:
    """The library also lists the day at the weekend a holiday moved from, so that only weekdays are compared."""
    made = shop_calendar(shop=shop, first=date(2020, 1, 1))
    published = {f"{year}-{day}" for day in PUBLISHED[year].split()}
    assert weekdays(made.closed, year) - SINCE == published


def test_scotland_has_its_own_holidays(shop: Shop) -> None:
    """Source: SOURCES 13's library; 2 January and 30 November are Scottish days, Easter Monday is not (values from memory)."""
    shop.subdivision = "SCT"
    closed = shop_calendar(shop=shop, first=date(2026, 1, 5)).closed
    assert {"2026-01-02", "2026-11-30"} <= set(closed)
    assert "2026-04-06" not in closed


def test_holidays_are_known_for_the_year_it_begins_in_and_those_that_follow(shop: Shop) -> None:
    made = shop_calendar(shop=shop, first=date(2026, 6, 30))
    assert made.known_until == f"{2026 + AHEAD - 1}-12-31"
    assert {day[:4] for day in made.closed} == {str(2026 + number) for number in range(AHEAD)}


@pytest.mark.parametrize("there", [True, False])
def test_without_a_country_there_are_no_holidays_and_no_end_to_what_is_known(shop: Shop, there: bool) -> None:
    shop.country = ""
    made = shop_calendar(shop=shop if there else None, first=date(2026, 3, 2))
    assert (made.key, made.closed, made.known_until) == ("", (), "")


@pytest.mark.parametrize(("country", "subdivision", "named"), [("ZZ", "", "“ZZ”"), ("GB", "XX", "“GB XX”")])
def test_a_country_or_region_nobody_knows_is_told_with_what_to_give(
    shop: Shop, country: str, subdivision: str, named: str
) -> None:
    shop.country, shop.subdivision = country, subdivision
    with pytest.raises(BadInput) as caught:
        shop_calendar(shop=shop, first=date(2026, 3, 2))
    assert caught.value.sentence() == (
        f"There are no holidays known for {named}. Give the two letters of a country, and of its region if it has its own."
    )
    assert caught.value.field == "country"


def test_with_no_hours_given_it_is_monday_to_friday_with_an_hour_at_noon(shop: Shop) -> None:
    made = shop_calendar(shop=shop, first=date(2026, 3, 2))
    assert made.hours == USUAL_HOURS
    assert worked(made, "2026-03-02", "2026-03-09") == 5 * 8 * 60


def worked(made: Calendar, first: str, until: str) -> int:
    """Minutes between two midnights."""
    working = WorkingTime(made, day_of(first))
    return working.worked(day_of(until) * DAY) - working.worked(day_of(first) * DAY)


def test_hours_are_those_given_to_the_minute(shop: Shop) -> None:
    ShopHours.objects.create(weekday=5, opens=time(9, 15), closes=time(11, 45))
    ShopHours.objects.create(weekday=1, opens=time(13), closes=time(18))
    ShopHours.objects.create(weekday=1, opens=time(7, 30), closes=time(12))
    made = shop_calendar(shop=shop, first=date(2026, 3, 2))
    assert made.hours == ((1, 450, 720), (1, 780, 1080), (5, 555, 705))
    assert worked(made, "2026-03-02", "2026-03-09") == 270 + 300 + 150


def test_every_day_of_a_closure_is_closed_the_first_and_last_too(shop: Shop) -> None:
    shop.country = ""
    Closure.objects.create(first=date(2026, 8, 3), last=date(2026, 8, 5), reason="summer")
    Closure.objects.create(first=date(2026, 12, 24), last=date(2026, 12, 24))
    made = shop_calendar(shop=shop, first=date(2026, 3, 2))
    assert made.closed == ("2026-08-03", "2026-08-04", "2026-08-05", "2026-12-24")


def test_a_closure_that_has_ended_is_forgotten_and_one_that_ends_on_the_first_day_is_not(shop: Shop) -> None:
    shop.country = ""
    Closure.objects.create(first=date(2026, 2, 1), last=date(2026, 3, 1))
    Closure.objects.create(first=date(2026, 2, 27), last=date(2026, 3, 2))
    closed = shop_calendar(shop=shop, first=date(2026, 3, 2)).closed
    assert closed == ("2026-02-27", "2026-02-28", "2026-03-01", "2026-03-02")


def test_it_takes_two_queries_however_many_closures(shop: Shop) -> None:
    for number in range(30):
        Closure.objects.create(first=date(2026, 3, 2 + number % 20), last=date(2026, 4, 1 + number % 20))
    with CaptureQueriesContext(connection) as caught:
        shop_calendar(shop=shop, first=date(2026, 3, 2))
    assert len(caught) == 2
