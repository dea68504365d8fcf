"""How the money of one job stands on a day: a worked example from the yes to the hand-over."""

from decimal import Decimal

import pytest

from quotes.pricing.models import Instalment, IssuedQuote
from quotes.pricing.money.instalments import reach
from quotes.pricing.money.money_in import accepted
from quotes.pricing.money.receipts import refund
from shop.restorations.models import Restoration
from tests.desk import rows
from tests.pricing.paid import by, day, paid, stands
from tests.pricing.workshop import TODAY

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def job() -> Restoration:
    """Hand-worked: 1000.00 and a fifth of tax are agreed: 240.00 at once, 360.00 a week after the frame is coated, 600.00
    at hand-over.
    """
    of = rows.restoration()
    quote = rows.quote(of, until=TODAY, net=100_000, outcome="accepted")
    for place, (name, event, days, minor) in enumerate(
        [("Deposit", "accepted", 0, 24_000), ("Second", "coated", 7, 36_000), ("Rest", "handed_over", 0, 60_000)], 1
    ):
        known = {"reached_on": TODAY, "due_on": TODAY} if event == "accepted" else {}
        Instalment.objects.create(
            quote=quote, position=place, name=name, due=name, event=event, days=days, amount_minor=minor, **known
        )
    return of


def test_a_job_from_the_yes_to_the_hand_over(job: Restoration) -> None:
    """Each line is worked by hand from the fixture's figures."""
    found = stands(job)
    assert (found.agreed, found.due, found.asked, found.late, found.received) == (D(1200), D(240), D(240), D(0), D(0))
    assert found.next is not None
    assert found.next.name == "Second"
    found = stands(job, 1)  # the deposit was due yesterday
    assert (found.late, found.late_since) == (D(240), TODAY)

    paid(job, 20_000, 2)
    found = stands(job, 2)
    assert (found.late, found.late_since, found.to_come) == (D(40), TODAY, D(1000))
    assert found.net_received == D("166.67")  # 200.00 / 1.2

    paid(job, 10_000, 3)
    found = stands(job, 3)
    assert (found.late, found.late_since, found.asked) == (D(0), None, D(0))
    assert found.next is not None
    assert (found.next.name, found.next.open) == ("Second", D(300))  # 60.00 came ahead

    of = Instalment.objects.get(name="Second")
    Instalment.objects.filter(pk=of.pk).update(reached_on=day(10), due_on=day(17))
    found = stands(job, 17)
    assert (found.due, found.asked, found.late) == (D(600), D(300), D(0))
    found = stands(job, 18)
    assert (found.late, found.late_since) == (D(300), day(17))

    paid(job, 91_000, 20)
    found = stands(job, 20)
    assert (found.received, found.over, found.to_come, found.late) == (D(1210), D(10), D(-10), D(0))
    refund(restoration=job, amount_minor=1_000, received_on=day(21), reason="paid too much", **by(21))
    assert stands(job, 21).over == 0
    assert stands(job, 20).over == D(10)  # a look back sees what was then


def test_deposits_are_owed_as_work_until_it_is_delivered(job: Restoration) -> None:
    """Hand-worked, in the way of IFRS 15, Example 38: 600.00 with a fifth of tax is 500.00 received in advance."""
    paid(job, 60_000)
    found = stands(job)
    assert found.liability(D(0)) == D(500)
    assert found.liability(D("320.50")) == D("179.50")
    assert found.liability(D(700)) == 0
    assert found.exposure(cost=D(620), committed=D(75)) == D(195)


def test_a_day_before_is_seen_without_what_came_later(job: Restoration) -> None:
    paid(job, 60_000, 5)
    assert stands(job, 4).received == 0
    assert stands(job, 5).received == D(600)


def test_what_counts_is_accepted_and_of_main_offers_the_newest() -> None:
    of = rows.restoration()
    fee = rows.quote(of, until=TODAY, stage="inspect", outcome="accepted")
    rows.quote(of, until=TODAY, outcome="declined")
    rows.quote(of, until=TODAY, outcome="accepted")
    newest = rows.quote(of, until=TODAY, outcome="accepted")
    varied = rows.quote(of, until=TODAY, stage="variation", outcome="accepted")
    rows.quote(of, until=TODAY)
    assert set(accepted()) == {fee, newest, varied}
    assert IssuedQuote.objects.count() == 6


def test_reaching_an_event_reaches_it_in_every_quote_that_names_it(job: Restoration) -> None:
    varied = rows.quote(job, until=TODAY, stage="variation", outcome="accepted")
    Instalment.objects.create(
        quote=varied, position=1, name="Variation", due="later", event="handed_over", amount_minor=12_000
    )
    Instalment.objects.create(
        quote=varied, position=2, name="Credit", due="later", event="handed_over", amount_minor=-2_000
    )
    found = reach(event="handed_over", restoration=job, day=rows.today(), who="desk", now=rows.timezone.now())
    assert [row.name for row in found] == ["Rest", "Variation", "Credit"]
