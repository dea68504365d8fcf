"""What customers accepted since the last working day began, with what is to be done next. Days and bikes are invented."""

from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from quotes.desk.waiting import Waits
from quotes.desk.waiting_accepted import accepted, last_working_day
from quotes.pricing.models import Instalment, IssuedQuote, IssuedStep, Outcome
from shop.people.models import Closure, Shop, ShopHours
from tests.desk.rows import quote, restoration

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 3, 9)
FRIDAY = date(2026, 3, 6)
NIGHT = time(0, 0)


def yes(of: IssuedQuote, on: date, at: time = time(10, 0), kind: str = "accepted") -> IssuedQuote:
    when = timezone.make_aware(datetime.combine(on, at))
    Outcome.objects.create(quote=of, kind=kind, who="Jo", how="online", said_on=on, at=when, recorded_by="Jo")
    return of


def offer(title: str = "Heron 250", stage: str = "main") -> IssuedQuote:
    return quote(restoration(title), until=date(2026, 4, 1), stage=stage)


def texts(day: date = MONDAY) -> list[str]:
    return [row.text for row in accepted(day).rows]


def only(day: date = MONDAY) -> Waits:
    (row,) = accepted(day).rows
    return row


# -- since when --------------------------------------------------------------------------------------------------------


def test_the_last_working_day_is_the_last_on_which_the_workshop_was_open() -> None:
    """By the calendar: 9 March 2026 is a Monday."""
    assert last_working_day(MONDAY) == FRIDAY
    assert last_working_day(MONDAY + timedelta(days=1)) == MONDAY
    Closure.objects.create(first=date(2026, 3, 5), last=FRIDAY)
    assert last_working_day(MONDAY) == date(2026, 3, 4)
    for weekday in (1, 5):
        ShopHours.objects.create(weekday=weekday, opens=time(8), closes=time(12))
    assert last_working_day(MONDAY) == date(2026, 3, 7)


def test_a_public_holiday_is_no_working_day() -> None:
    """1 May 2026 is a Friday and Labour Day in Austria (Feiertagsruhegesetz 1957, section 1)."""
    Shop.objects.create(name="Hollow Lane Works", country="AT")
    assert last_working_day(date(2026, 5, 4)) == date(2026, 4, 30)


def test_a_shop_that_was_shut_for_long_is_told_of_the_last_four_weeks() -> None:
    Closure.objects.create(first=date(2026, 1, 1), last=date(2026, 3, 8))
    assert last_working_day(MONDAY) == MONDAY - timedelta(days=28)


@pytest.mark.parametrize(
    ("on", "at", "told"), [(FRIDAY, NIGHT, True), (date(2026, 3, 5), time(23, 59), False), (MONDAY, NIGHT, True)]
)
def test_it_is_told_from_the_first_minute_of_that_day(on: date, at: time, told: bool) -> None:
    yes(offer(), on, at)
    assert bool(texts()) == told


@pytest.mark.parametrize("kind", ["declined", "withdrawn"])
def test_what_was_not_accepted_is_not_told(kind: str) -> None:
    yes(offer(), FRIDAY, kind=kind)
    assert texts() == []


def test_the_title_says_yesterday_or_the_day() -> None:
    assert accepted(MONDAY).title == "Accepted since Friday, 6 March"
    assert accepted(MONDAY + timedelta(days=1)).title == "Accepted since yesterday"


def test_the_newest_answer_comes_first() -> None:
    yes(offer("first"), FRIDAY)
    yes(offer("second"), FRIDAY, time(11))
    assert [str(row.restoration) for row in accepted(MONDAY).rows] == ["second", "first"]


# -- what is next ------------------------------------------------------------------------------------------------------


def deposit(of: IssuedQuote, **changes: Any) -> Instalment:
    given = {"position": 1, "name": "Deposit", "due": "on acceptance", "amount_minor": 3_000, "event": "accepted"}
    reached = {"reached_on": FRIDAY, "due_on": date(2026, 3, 20)}
    return Instalment.objects.create(quote=of, **(given | reached | changes))


def test_an_inspection_is_followed_by_taking_apart_and_the_main_offer() -> None:
    of = yes(offer(stage="inspect"), FRIDAY)
    assert only().text == f"{of}, strip and inspect: take the bike apart, say what is found, then make the main offer."
    assert only().address == reverse("desk:restoration", args=[of.restoration.uid])


def test_a_main_offer_is_followed_by_the_payment_it_asks_for_first() -> None:
    of = yes(offer(), FRIDAY)
    deposit(of)
    assert only().text == f"{of}, main offer: ask for “Deposit”, €30.00; then order, send out and begin."
    assert only().address == reverse("desk:money", args=[of.restoration.uid])
    assert only().tag == "6 Mar 2026, on the customer's page"


def test_a_main_offer_that_asks_for_nothing_yet_is_followed_by_work() -> None:
    of = yes(offer(), FRIDAY)
    deposit(of, reached_on=None, due_on=None)
    assert only().text == f"{of}, main offer: order, send out and begin; the days say what is first."
    assert only().address == reverse("desk:days", args=[of.restoration.uid])


def test_a_variation_is_followed_by_its_work_or_by_leaving_it_out() -> None:
    bike = restoration()
    yes(quote(bike, until=date(2026, 4, 1)), date(2026, 2, 2))
    adds = yes(quote(bike, until=date(2026, 4, 1), stage="variation"), FRIDAY)
    IssuedStep.objects.create(quote=adds, step_uid=bike.uid, part_uid=bike.uid)
    yes(quote(bike, until=date(2026, 4, 1), stage="variation"), FRIDAY, time(11))
    assert [text.partition(": ")[2] for text in texts()] == [
        "what it leaves out is not done any more; let the workshop know.",
        "its new work may begin; let the workshop know.",
    ]


# -- the first page ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["front_desk", "manager"])
def test_it_stands_on_the_first_page_of_desk_and_manager(role: str, request: pytest.FixtureRequest) -> None:
    client: Client = request.getfixturevalue(role)
    of = offer()
    yes(of, timezone.localdate(), NIGHT)
    page = client.get("/").content.decode()
    assert "Accepted since" in page
    assert f"{of}, main offer:" in page


def test_it_takes_as_many_queries_for_one_as_for_many() -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            accepted(MONDAY)
        return len(found)

    yes(offer(), FRIDAY)
    one = queries()
    for number in range(6):
        deposit(yes(offer(f"bike {number}"), FRIDAY))
    assert (queries(), one) == (7, 7)
