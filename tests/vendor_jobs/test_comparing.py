"""Vendors compared: who is still out counts as such, and a few jobs say little."""

from datetime import date, timedelta
from decimal import Decimal

from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.restorations.models import Part, Restoration
from shop.vendor_jobs.charging import enter_charge
from shop.vendor_jobs.comparing import Compared, compared
from shop.vendor_jobs.models import Job
from shop.vendor_jobs.receiving import Arrival, receive
from shop.vendor_jobs.sending import Told, told_new_day
from tests.vendor_jobs.lots import DUE, LATER, SENT, came, lever, sent
from tests.workshop import WHO, Workshop


def one(today: date) -> Compared:
    (found,) = compared(today=today)
    return found


def test_a_job_past_the_day_first_told_is_not_on_time_even_when_a_new_day_was_told(levers: Part) -> None:
    job = sent(levers)
    told_new_day(job=job, told=Told(DUE + timedelta(days=20)), told_on=SENT, **WHO)
    found = one(DUE + timedelta(days=1))
    assert (found.on_time.hits, found.on_time.count, found.out, found.late) == (0, 1, 1, 0)


def test_a_job_that_is_not_due_yet_says_nothing_about_keeping_days(levers: Part) -> None:
    sent(levers)
    assert one(DUE).on_time.count == 0


def test_lead_times_are_the_vendors_working_days_door_to_door(levers: Part) -> None:
    """From Monday 2 March to Thursday 12 March 2026 are 8 working days: Tuesday to Friday, Monday to Thursday."""
    came(sent(levers), good=4)
    assert (one(DUE).likely, one(DUE).mostly) == (8, 8)


def test_what_is_still_out_makes_the_lead_time_longer(levers: Part, bike: Restoration, shop: Workshop) -> None:
    came(sent(levers), good=4)
    for name in ("Pin", "Bolt", "Rod"):
        sent(lever(bike, shop, name=name))
    found = one(DUE + timedelta(days=30))
    assert (found.jobs, found.out, found.likely, found.mostly) == (4, 3, None, None)


def test_rejects_losses_and_prices(levers: Part, bike: Restoration, shop: Workshop) -> None:
    job = sent(levers)
    came(job, good=2, rejected=1, lost=1, note="Dull, and one gone")
    other = sent(lever(bike, shop, name="Pin"))
    came(other, good=4)
    enter_charge(job=other, net_minor=6_000, document="71", on=DUE, **LATER)
    found = one(DUE)
    assert (found.faulty.hits, found.faulty.count, found.lost, found.pieces) == (1, 2, 1, 8)
    assert found.over == Decimal("0.2"), "60.00 charged, 50.00 agreed"


def test_the_number_of_queries_does_not_hang_on_how_many_jobs_there_are(
    levers: Part, bike: Restoration, shop: Workshop
) -> None:
    came(sent(levers), good=4)
    with CaptureQueriesContext(connection) as few:
        compared(today=DUE)
    for number in range(8):
        job = sent(lever(bike, shop, name=f"Pin {number}"))
        receive(job=job, arrivals=[Arrival(job.lines.get(), good=4)], on=DUE, looked_by="Bea", **LATER)
    with CaptureQueriesContext(connection) as many:
        compared(today=DUE)
    assert Job.objects.count() == 9
    assert len(few) == len(many)
