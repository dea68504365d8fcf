"""The money of all jobs, for the manager; and what waits for the desk about money."""

import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from quotes.desk import money_jobs, waiting, waiting_money
from quotes.pricing.models import Instalment, Receipt
from shop.restorations.models import Restoration
from shop.routes.models import Hold
from tests.desk import rows
from tests.desk.rows import AT, day, today

pytestmark = pytest.mark.django_db
D = Decimal


def job(title: str, *, due: int | None = None, paid: int = 0, held: int | None = None) -> Restoration:
    """120.00 agreed in one payment, due so many days from today (None: not yet), ``paid`` minor units, held since."""
    of = rows.restoration(title, customer=f"Customer of {title}")
    quote = rows.quote(of, until=day(5), outcome="accepted")
    on = {} if due is None else {"reached_on": min(day(due), today()), "due_on": day(due)}
    Instalment.objects.create(
        quote=quote, position=1, name="All", due="soon", event="coated", amount_minor=12_000, **on
    )
    if paid:
        number = Receipt.objects.count() + 1
        Receipt.objects.create(
            number=number,
            restoration=of,
            amount_minor=paid,
            currency="EUR",
            received_on=today(),
            at=AT,
            recorded_by="x",
        )
    if held is not None:
        Hold.objects.create(restoration=of, first=day(held), kind="deciding", reason=f"colour of {title}")
    return of


def titles(found: money_jobs.Jobs) -> list[str]:
    return [one.restoration.title for one in found.rows]


@pytest.fixture
def jobs() -> None:
    job("fine")
    job("a little late", due=-3, paid=11_000)
    job("long late", due=-30)
    job("settled", due=-9, paid=12_000)
    job("held", held=-8)
    rows.restoration("no quote")
    rows.quote(rows.restoration("open"), until=day(3))


def test_the_longest_late_comes_first_and_what_is_settled_is_left_out(jobs: None) -> None:
    found = money_jobs.jobs(today())
    assert titles(found) == ["long late", "a little late", "held", "fine"]
    assert (found.late, found.to_come, found.settled) == (D(130), D(370), 1)
    assert found.rows[2].held is not None
    assert found.rows[2].held.first == day(-8)


def test_settled_jobs_are_there_when_asked_for(jobs: None) -> None:
    assert "settled" in titles(money_jobs.jobs(today(), settled=True))


def test_of_equally_long_late_jobs_the_larger_sum_comes_first() -> None:
    for title, paid in (("small", 11_000), ("large", 1_000)):
        job(title, due=-3, paid=paid)
    assert titles(money_jobs.jobs(today())) == ["large", "small"]


def test_a_hold_that_is_over_or_to_come_or_taken_back_does_not_run() -> None:
    of = job("free")
    for first, last, removed in ((-9, -1, None), (2, None, None), (-5, None, AT)):
        last_day = None if last is None else day(last)
        Hold.objects.create(restoration=of, first=day(first), last=last_day, reason="x", removed_at=removed)
    assert money_jobs.jobs(today()).rows[0].held is None
    Hold.objects.create(restoration=of, first=day(-2), last=today(), reason="x")
    assert money_jobs.jobs(today()).rows[0].held is not None


# --- the page ---


def page(client: Client, **query: str) -> str:
    answer = client.get(reverse("desk:money_jobs"), query)
    assert answer.status_code == 200
    main = answer.content.decode().split("<main", 1)[1].split("</main>")[0]
    return " ".join(re.sub(r"<[^>]*>", " ", main).split())


def test_the_manager_sees_all_jobs_and_nobody_else(
    jobs: None, manager: Client, front_desk: Client, mechanic: Client, stranger: Client
) -> None:
    shown = page(manager)
    assert "€130.00 late" in shown
    assert "€370.00 to come" in shown
    assert "long late Customer of long late €120.00 €0.00 €120.00 due since" in shown
    assert "the customer is deciding since" in shown
    assert "And 1 that is settled" in shown
    assert "settled Customer" in page(manager, all="1")
    address = reverse("desk:money_jobs")
    assert [who.get(address).status_code for who in (front_desk, mechanic)] == [403, 403]
    assert stranger.get(address).headers["Location"].startswith("/sign-in/")


def test_an_empty_shop_reads_what_will_stand_there(manager: Client) -> None:
    assert "As soon as a customer accepts a quote" in page(manager)


def test_many_jobs_are_pages_of_a_list(manager: Client) -> None:
    for number in range(45):
        job(f"bike {number}")
    assert "Page 1 of 2" in page(manager)
    assert "Page 2 of 2" in page(manager, page="2")


def test_the_page_takes_the_same_queries_for_one_job_and_for_many(manager: Client) -> None:
    job("first", due=-2, held=-1)
    page(manager)
    with CaptureQueriesContext(connection) as one:
        page(manager)
    for number in range(12):
        job(f"bike {number}", due=-number, paid=number * 100 or 1, held=-number)
    with CaptureQueriesContext(connection) as many:
        page(manager)
    assert len(one) == len(many)


# --- what waits ---


def said(group: waiting.Group) -> list[tuple[str, str, str]]:
    return [(row.restoration.title, row.text, row.tag) for row in group.rows]


def test_late_payments_wait_the_longest_late_first(jobs: None) -> None:
    assert said(waiting_money.payments(today())[0]) == [
        ("long late", "€120.00 is late", "for 30 days"),
        ("a little late", "€10.00 is late", "for 3 days"),
    ]


def test_what_was_reached_and_is_not_late_is_to_be_asked_for() -> None:
    job("today", due=0, paid=2_000)
    job("next week", due=7)
    job("paid ahead", due=7, paid=12_000)
    job("late", due=-1)
    job("not reached")
    found = said(waiting_money.payments(today())[1])
    assert [(title, text) for title, text, _tag in found] == [("today", "All: €100.00"), ("next week", "All: €120.00")]
    assert found[0][2] == "due today"
    assert found[1][2].startswith("due on ")


def test_holds_that_run_wait_the_longest_first() -> None:
    job("new", held=-1)
    job("old", held=-20)
    job("to come", held=3)
    assert [(title, text) for title, text, _tag in said(waiting_money.held(today()))] == [
        ("old", "the customer is deciding: colour of old"),
        ("new", "the customer is deciding: colour of new"),
    ]


def test_the_first_page_shows_them_with_a_way_there(jobs: None, front_desk: Client) -> None:
    html = front_desk.get("/").content.decode()
    late = Restoration.objects.get(title="long late")
    assert "Payments that are late" in html
    assert f'href="{reverse("desk:money", args=[late.uid])}"' in html
    assert "Bikes that are held" in html


def test_what_waits_takes_the_same_queries_for_one_and_for_many() -> None:
    def shown() -> list[int]:
        """How many lines there are of each kind, read as the page shows them: with the customer of each."""
        groups = [*waiting_money.payments(today()), waiting_money.held(today())]
        return [len([str(row.restoration.customer) for row in group.rows]) for group in groups]

    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            shown()
        return len(caught)

    job("late", due=-2, held=-1)
    job("due", due=0)
    few = asked()
    for number in range(14):
        job(f"bike {number}", due=-number, held=-number)
        job(f"other {number}", due=number)
    assert asked() == few
    assert shown() == [10, 10, 10]
