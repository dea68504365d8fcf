"""Vendor work on one page: what is late, due, must leave and may leave, what is planned and out; and planning a lot."""

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from quotes.desk.vendor_board import SOON, sorted_out
from shop.restorations.models import Part, Restoration
from shop.vendor_jobs.models import Job
from shop.vendor_jobs.receiving import Arrival, receive
from shop.vendor_jobs.standing import board
from tests.desk.vendor_lots import must_leave, now, out
from tests.vendor_jobs.lots import lever, planned, plating
from tests.workshop import TODAY, Workshop, restoration, workshop

pytestmark = pytest.mark.django_db

PAGE, PLAN = "/vendor-work/", "/vendor-work/plan/"


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    return restoration()


def text(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_each_lot_stands_where_it_presses(bike: Restoration, shop: Workshop) -> None:
    late, due, far, undated = (
        out(lever(bike, shop, name=name), due=days)
        for name, days in (("Late", -1), ("Due", SOON.days), ("Far", SOON.days + 1), ("Undated", None))
    )
    found = sorted_out(board(now=timezone.now()), timezone.localdate())
    assert [[lot.job for lot in lots] for lots in (found.overdue, found.due, found.out)] == [
        [late],
        [due],
        [far, undated],
    ]


def test_what_must_leave_soon_comes_before_what_may(bike: Restoration, shop: Workshop) -> None:
    soon, later, lot = (lever(bike, shop, name=name) for name in ("Soon", "Later", "In a lot"))
    Part.objects.filter(pk=later.pk).update(material="brass")  # so that the two share no lot
    must_leave(soon, SOON.days)
    must_leave(later, SOON.days + 1)
    must_leave(lot, 0)
    job = planned(lot)
    found = sorted_out(board(now=timezone.now()), timezone.localdate())
    assert [one.first.part.name for one in found.must_plan] == ["Soon"]
    assert [one.first.part.name for one in found.may] == ["Later"]
    assert ([one.job for one in found.must], found.planned) == ([job], [])


def test_the_page_says_it_in_the_order_in_which_somebody_acts(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    out(lever(bike, shop, name="Late"), due=-3)
    out(lever(bike, shop, name="Due"), due=0)
    out(lever(bike, shop, name="Far"), due=20)
    planned(lever(bike, shop, name="Kept"))
    lever(bike, shop, name="Free")
    said = text(front_desk.get(PAGE))
    heads = ["Overdue 1", "Due now or soon 1", "May leave 1", "Planned 1", "Out 1"]
    places = [said.index(head) for head in heads]
    assert places == sorted(places)
    assert "was due 3 days ago" in said
    assert "due today" in said


def test_the_picture_says_in_words_what_it_shows_and_hatches_what_is_late(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    out(lever(bike, shop), due=-2)
    html = front_desk.get(PAGE).content.decode()
    assert re.search(r"<desc>V1 at Brook Platers: due [^<]+, 2 days late\.</desc>", html)
    assert html.count('fill="url(#out-phone-late)"') == html.count('fill="url(#out-wide-late)"') == 1
    assert len(re.findall(r'<pattern id="([^"]+)"', html)) == len(set(re.findall(r'<pattern id="([^"]+)"', html))) == 2


def test_one_tap_plans_a_lot_of_what_may_share_one(front_desk: Client, bike: Restoration, shop: Workshop) -> None:
    parts = [lever(bike, shop, name=name) for name in ("Lever", "Pin")]
    steps = re.findall(r'name="step" value="([^"]+)"', front_desk.get(PAGE).content.decode())
    assert set(steps) == {str(plating(part).uid) for part in parts}
    answer = front_desk.post(PLAN, {"step": steps})
    job = Job.objects.get()
    assert answer.headers["Location"] == f"/vendor-work/jobs/{job.uid}/"
    assert job.lines.count() == 2
    assert "Bearing seats, threads and clamping faces stay bare." in job.masking


def test_planned_twice_it_is_one_lot_and_the_other_person_reads_which(
    front_desk: Client, manager: Client, bike: Restoration, shop: Workshop
) -> None:
    sent = {"step": [str(plating(lever(bike, shop)).uid)]}
    front_desk.post(PLAN, sent)
    assert "goes with V1 already" in text(manager.post(PLAN, sent, follow=True))
    assert Job.objects.count() == 1


@pytest.mark.parametrize("step", [[], ["00000000-0000-0000-0000-000000000000"], ["no uid"]])
def test_what_is_no_step_is_refused_in_words(front_desk: Client, shop: Workshop, step: list[str]) -> None:
    answer = front_desk.post(PLAN, {"step": step}, follow=True)
    assert re.search("Tick what goes out|not there any more", text(answer))
    assert not Job.objects.exists()


def test_what_was_rejected_goes_again_as_that_job_done_again_free(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    part = lever(bike, shop)
    job = out(part)
    dull = [Arrival(job.lines.get(), rejected=4, note="Dull")]
    receive(job=job, arrivals=dull, on=timezone.localdate(), looked_by="Bea", **now())
    front_desk.post(PLAN, {"step": [str(plating(part).uid)]})
    redo = Job.objects.exclude(pk=job.pk).get()
    assert (redo.redo_of, redo.agreed_minor) == (job, 0)


def test_claims_and_missing_charges_stand_on_it(front_desk: Client, bike: Restoration, shop: Workshop) -> None:
    job = out(lever(bike, shop))
    came = [Arrival(job.lines.get(), good=3, lost=1, note="One gone")]
    receive(job=job, arrivals=came, on=timezone.localdate(), looked_by="Bea", **now())
    said = text(front_desk.get(PAGE))
    assert "Open claims 1" in said
    assert "One gone" in said
    assert "Back, and no charge entered" in said


def test_the_page_takes_as_many_queries_with_fifty_lots_as_with_one(
    front_desk: Client, bike: Restoration, shop: Workshop
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as captured:
            assert front_desk.get(PAGE).status_code == 200
        return len(captured)

    for name in ("Out", "Planned", "Free"):
        part = lever(bike, shop, name=name)
        if name == "Out":
            out(part, due=-1)
        elif name == "Planned":
            planned(part)
    queries()
    few = queries()
    for number in range(51):
        part = lever(bike, shop, name=f"Lever {number}")
        if number % 3 == 0:
            out(part, due=number - 20, since=-30)
        elif number % 3 == 1:
            planned(part)
    assert queries() == few


def test_only_the_desk_and_the_manager_see_it(
    front_desk: Client, manager: Client, mechanic: Client, shop: Workshop
) -> None:
    assert [one.get(PAGE).status_code for one in (front_desk, manager, mechanic)] == [200, 200, 403]
    assert mechanic.post(PLAN, {}).status_code == 403


def test_with_nothing_out_it_says_so(front_desk: Client, shop: Workshop) -> None:
    assert "Nothing is out, and nothing may leave" in text(front_desk.get(PAGE))
    assert timezone.localdate() > TODAY
