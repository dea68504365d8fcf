"""A vendor job on its page: looked over, sent, counted in, charged, claimed; its note, its vendor, the trip."""

import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from quotes.desk import vendor_job, vendor_paper
from shop.floor import custody
from shop.floor.models import Shelf, Tag
from shop.methods.models import Service, Vendor
from shop.people.models import User
from shop.restorations.models import Part, Restoration
from shop.routes.models import Away, Step
from shop.routes.services import add_step, wait_for
from shop.vendor_jobs.comparing import compared
from shop.vendor_jobs.lots import plan_lot
from shop.vendor_jobs.models import Charge, Claim, Job, Line, Terms, Tick
from shop.vendor_jobs.standing import without_charge
from tests.planned import agree_to
from tests.vendor_jobs.lots import lever, planned
from tests.workshop import WHO, Workshop, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    return restoration()


@pytest.fixture
def part(bike: Restoration, shop: Workshop) -> Part:
    return lever(bike, shop)


@pytest.fixture
def job(part: Part) -> Job:
    return planned(part)


def day(offset: int = 0) -> str:
    return (timezone.localdate() + timedelta(days=offset)).isoformat()


def at(job: Job, name: str = "") -> str:
    return f"/vendor-work/jobs/{job.uid}/{name and name + '/'}"


def text(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def sending(**changes: str) -> dict[str, str]:
    return {"on": day(), "carried_by": "Tom", "due_on": day(10), "status": "phoned", "said_by": "Iris"} | changes


def out(client: Client, job: Job) -> Job:
    assert client.post(at(job, "send"), sending()).status_code == 302
    job.refresh_from_db()
    assert job.sent_on is not None
    return job


def coming(line: Line, *, on: str = "", looked_by: str = "Bea", shelf: str = "", **counts: str) -> dict[str, str]:
    boxes = {f"{line.uid}-{name}": value for name, value in counts.items()}
    return {"on": on or day(), "looked_by": looked_by, "shelf": shelf, **boxes}


def tagged(part: Part) -> Tag:
    return custody.add_tag(uid=uuid4(), restoration=part.restoration, part=part, **WHO)


def place(tag: Tag) -> str:
    return custody.where_are([tag])[0].place


# -- sending -----------------------------------------------------------------------------------------------------------


def test_a_lot_leaves_with_its_tags(front_desk: Client, part: Part, job: Job) -> None:
    tag = tagged(part)
    sent = out(front_desk, job)
    line = sent.lines.get()
    assert (sent.carried_by, sent.promises.get().said_by) == ("Tom", "Iris")
    assert line.tags == f"{tag.code[:3]} {tag.code[3:]}"
    assert place(tag) == "Brook Platers"


def test_what_holds_it_back_is_said_and_nothing_typed_is_lost(front_desk: Client, part: Part, job: Job) -> None:
    Part.objects.filter(pk=part.pk).update(strength=1_750)
    assert "must not be electroplated at 1750 MPa" in text(front_desk.get(at(job)))
    tag = tagged(part)
    answer = front_desk.post(at(job, "send"), sending(carried_by="Somebody else"))
    assert answer.status_code == 422
    assert "must not be electroplated at 1750 MPa" in text(answer)
    assert 'value="Somebody else"' in answer.content.decode()
    assert (Job.objects.get().sent_on, place(tag)) == (None, ""), "nothing of it left, its tags neither"


@pytest.mark.parametrize(
    ("typed", "box", "said"),
    [
        ({"on": day(1)}, "send-on", "still to come"),
        ({"due_on": day(-1)}, "send-due_on", "cannot be back before it leaves"),
        ({"on": ""}, "send-on", "Fill this in"),
    ],
)
def test_a_wrong_day_is_said_at_its_box(
    front_desk: Client, job: Job, typed: dict[str, str], box: str, said: str
) -> None:
    answer = front_desk.post(at(job, "send"), sending(**typed))
    assert answer.status_code == 422
    assert re.search(rf'id="{box}_error"><li>[^<]*{said}', answer.content.decode())
    assert Job.objects.get().sent_on is None


def test_two_people_sending_one_lot_send_it_once(front_desk: Client, manager: Client, part: Part, job: Job) -> None:
    tag = tagged(part)
    out(front_desk, job)
    answer = manager.post(at(job, "send"), sending(on=day(-1), carried_by="Eve"), follow=True)
    assert "V1 has left already" in text(answer)
    found = Job.objects.get()
    assert (found.sent_by, found.carried_by, found.promises.count(), tag.moves.count()) == ("ada", "Tom", 1, 1)


def test_beyond_the_insured_sum_it_goes_with_a_name_only(front_desk: Client, job: Job, shop: Workshop) -> None:
    Terms.objects.create(vendor=job.vendor, insured_minor=10_000)
    line = job.lines.get()
    front_desk.post(f"/vendor-work/lines/{line.uid}/", {"replacement_minor": "250", "weight": "4"})
    assert "holds €150.00 more than it is insured for" in text(front_desk.get(at(job)))
    answer = front_desk.post(at(job, "send"), sending())
    assert answer.status_code == 422
    assert 'id="send-let_go_by_error"' in answer.content.decode()
    assert front_desk.post(at(job, "send"), sending(let_go_by="Eve", let_go_why="Fetched tomorrow")).status_code == 302
    assert Job.objects.get().let_go_by == "Eve"


def test_some_pieces_go_and_the_rest_may_go_with_another_lot(front_desk: Client, part: Part, job: Job) -> None:
    tag, line = tagged(part), job.lines.get()
    front_desk.post(f"/vendor-work/lines/{line.uid}/", {"replacement_minor": "100", "weight": "1"})
    too_many = front_desk.post(at(job, "send"), sending(**{f"go-{line.uid}": "5"}))
    assert too_many.status_code == 422
    assert f'id="send-go-{line.uid}_error"' in too_many.content.decode()
    assert front_desk.post(at(job, "send"), sending(**{f"go-{line.uid}": "3"})).status_code == 302
    line.refresh_from_db()
    part.refresh_from_db()
    assert (line.pieces, line.weight, line.replacement_minor, part.pieces) == (3, Decimal("0.750"), 7_500, 3)
    assert place(tag) == "Brook Platers"
    rest = Part.objects.get(split_from=part)
    assert rest.pieces == 1
    assert "Lever (1 of 4)" in text(front_desk.get("/vendor-work/")), "it may leave, and is in no lot"
    front_desk.post(at(job, "count-in"), coming(line, good="3"))
    job.refresh_from_db()
    assert job.back_on == timezone.localdate(), "what stayed here keeps nothing out"


def test_what_stays_whole_is_left_out_and_nothing_at_all_does_not_go(
    front_desk: Client, bike: Restoration, shop: Workshop, job: Job
) -> None:
    two = planned(lever(bike, shop, name="Pin"), lever(bike, shop, name="Rod"))
    pin, rod = two.lines.order_by("pk")
    none = sending(**{f"go-{pin.uid}": "0", f"go-{rod.uid}": "0"})
    answer = front_desk.post(at(two, "send"), none)
    assert answer.status_code == 422
    assert "Nothing would go." in text(answer)
    front_desk.post(at(two, "send"), sending(**{f"go-{pin.uid}": "0"}))
    two.refresh_from_db()
    assert two.sent_on is not None
    assert sorted(two.lines.values_list("step__part__name", "outcome")) == [("Pin", "not_sent"), ("Rod", "")]
    assert Part.objects.filter(split_from__isnull=False).count() == 0


def test_what_holds_it_back_splits_nothing(front_desk: Client, part: Part, job: Job) -> None:
    Part.objects.filter(pk=part.pk).update(strength=1_750)
    line = job.lines.get()
    assert front_desk.post(at(job, "send"), sending(**{f"go-{line.uid}": "3"})).status_code == 422
    assert (Part.objects.filter(split_from=part).count(), job.lines.get().pieces) == (0, 4)


# -- it had not left ---------------------------------------------------------------------------------------------------


def test_that_it_left_was_a_slip_and_its_tags_are_where_they_were(front_desk: Client, part: Part, job: Job) -> None:
    tag, shelf = tagged(part), Shelf.objects.create(name="Shelf A")
    custody.move(tag=tag, shelf=shelf, person=User.objects.get(username="ada"), now=timezone.now())
    front_desk.post(at(job, "change"), {"masking": "Bore bare", "finish_words": "", "note": "Ring first"})
    agreed = {"agreed_minor": "61.50", "agreed_status": "phoned", "agreed_by": "Iris", "agreed_on": day()}
    front_desk.post(at(job, "agree"), agreed)
    out(front_desk, job)
    assert place(tag) == "Brook Platers"
    assert "it has not left" in text(front_desk.get(at(job)))
    front_desk.post(at(job, "not-left"))
    new = Job.objects.exclude(pk=job.pk).get()
    job.refresh_from_db()
    assert (place(tag), job.back_on, job.lines.get().outcome) == ("Shelf A", job.sent_on, "not_sent")
    assert (new.masking, new.note, new.agreed_minor, new.agreed_by) == ("Bore bare", "Ring first", 6_150, "Iris")
    assert not Away.objects.filter(ended_on__isnull=True).exists()
    out(front_desk, new)
    assert place(tag) == "Brook Platers", "and it can leave again"
    assert [one.jobs for one in compared(today=timezone.localdate())] == [1], "what never went is compared with nothing"
    assert not list(without_charge(now=timezone.now()))


def test_a_tag_that_hung_nowhere_is_with_whoever_says_that_it_had_not_left(
    front_desk: Client, part: Part, job: Job
) -> None:
    tag = tagged(part)
    out(front_desk, job)
    front_desk.post(at(job, "not-left"))
    assert place(tag) == "Ada"


def test_once_something_followed_it_is_no_slip(front_desk: Client, job: Job) -> None:
    line = out(front_desk, job).lines.get()
    front_desk.post(at(job, "count-in"), coming(line, good="3"))
    assert "it has not left" not in text(front_desk.get(at(job)))
    answer = front_desk.post(at(job, "not-left"), follow=True)
    assert "Something followed from it" in text(answer)
    Job.objects.filter(pk=job.pk).update(sent_at=timezone.now() - timedelta(days=1))
    assert Job.objects.count() == 1


# -- before it leaves --------------------------------------------------------------------------------------------------


def test_what_the_vendor_is_told_is_changed_and_proposed_before(front_desk: Client, job: Job) -> None:
    assert "clamping faces stay bare" in front_desk.get(at(job)).content.decode()
    sent = {"leave_on": day(2), "masking": "Bore bare\r\nThread bare", "finish_words": "Clear", "note": ""}
    assert front_desk.post(at(job, "change"), sent).status_code == 302
    found = Job.objects.get()
    assert (found.masking, found.leave_on) == ("Bore bare\nThread bare", date.fromisoformat(day(2)))
    wrong = front_desk.post(at(job, "change"), sent | {"leave_on": "soon", "note": "Ring first"})
    assert wrong.status_code == 422
    assert "Ring first" in wrong.content.decode()


def test_the_price_is_noted_with_who_said_so(front_desk: Client, job: Job) -> None:
    sent = {"agreed_minor": "61,50", "agreed_status": "phoned", "agreed_by": "Iris", "agreed_on": day()}
    assert front_desk.post(at(job, "agree"), sent).status_code == 302
    said = text(front_desk.get(at(job)))
    assert "€61.50 , told by phone, Iris" in said
    assert "by the rate book €50.00" in said
    wrong = front_desk.post(at(job, "agree"), sent | {"agreed_minor": "much"})
    assert wrong.status_code == 422
    assert 'value="much"' in wrong.content.decode()


def test_a_line_is_added_left_out_and_an_empty_lot_is_cancelled(
    front_desk: Client, bike: Restoration, shop: Workshop, job: Job
) -> None:
    lever(bike, shop, name="Pin")
    (step,) = re.findall(r'name="step" value="([^"]+)"', front_desk.get(at(job)).content.decode())
    front_desk.post(at(job, "add"), {"step": step})
    assert job.lines.count() == 2
    for line in job.lines.all():
        front_desk.post(f"/vendor-work/lines/{line.uid}/leave-out/")
    job.refresh_from_db()
    assert job.cancelled_at is not None
    assert "cancelled" in text(front_desk.get(at(job)))


# -- back --------------------------------------------------------------------------------------------------------------


def test_counted_in_its_tag_goes_to_the_shelf_and_the_rest_stays_out(front_desk: Client, part: Part, job: Job) -> None:
    tag, shelf = tagged(part), Shelf.objects.create(name="Shelf A")
    out(front_desk, job)
    answer = front_desk.post(at(job, "count-in"), coming(job.lines.get(), shelf=str(shelf.uid), good="3"), follow=True)
    assert "Counted in." in text(answer)
    assert place(tag) == "Shelf A"
    assert sorted(job.lines.values_list("outcome", "pieces")) == [("", 1), ("good", 3)]


def test_without_a_shelf_a_tag_is_with_whoever_looked(front_desk: Client, part: Part, job: Job) -> None:
    tag = tagged(part)
    out(front_desk, job)
    front_desk.post(at(job, "count-in"), coming(job.lines.get(), good="4"))
    assert place(tag) == "Bea"


@pytest.mark.parametrize(
    ("counts", "more", "box"),
    [
        ({"good": "5"}, {}, "good"),
        ({"lost": "1"}, {}, "note"),
        ({"good": "x"}, {}, "good"),
        ({"good": "4"}, {"looked_by": ""}, ""),
        ({"good": "4"}, {"on": day(-400)}, ""),
    ],
)
def test_a_wrong_count_is_said_at_its_box_and_what_was_typed_stays(
    front_desk: Client, job: Job, counts: dict[str, str], more: dict[str, str], box: str
) -> None:
    line = out(front_desk, job).lines.get()
    answer = front_desk.post(at(job, "count-in"), coming(line, **counts, **more))
    html = answer.content.decode()
    assert answer.status_code == 422
    assert f'id="came-{line.uid}-{box}_error"' in html if box else 'class="wrong"' in html
    assert all(f'value="{typed}"' in html for typed in counts.values())
    assert job.lines.get().outcome == ""


def test_nothing_counted_is_said_over_the_form(front_desk: Client, job: Job) -> None:
    line = out(front_desk, job).lines.get()
    answer = front_desk.post(at(job, "count-in"), coming(line))
    assert answer.status_code == 422
    assert "Nothing is counted in" in text(answer)


def test_a_slip_is_taken_back_and_the_tag_is_at_the_vendor_again(front_desk: Client, part: Part, job: Job) -> None:
    tag = tagged(part)
    line = out(front_desk, job).lines.get()
    front_desk.post(at(job, "count-in"), coming(line, rejected="4", note="Dull"))
    assert (Claim.objects.count(), place(tag)) == (1, "Bea")
    front_desk.post(f"/vendor-work/lines/{line.uid}/take-back/")
    line.refresh_from_db()
    assert (line.outcome, Claim.objects.count(), place(tag)) == ("", 0, "Brook Platers")


def test_what_was_rejected_is_planned_again_free(front_desk: Client, job: Job) -> None:
    line = out(front_desk, job).lines.get()
    front_desk.post(at(job, "count-in"), coming(line, rejected="4", note="Dull"))
    assert "1 rejected part can go again" in text(front_desk.get(at(job)))
    front_desk.post(at(job, "again"))
    redo = Job.objects.exclude(pk=job.pk).get()
    assert (redo.redo_of, redo.agreed_minor) == (job, 0)
    assert "can go again" not in text(front_desk.get(at(job)))


def test_a_charge_is_entered_once_and_reversed(front_desk: Client, job: Job) -> None:
    out(front_desk, job)
    sent = {"net_minor": "55", "document": "R 17", "on": day()}
    front_desk.post(at(job, "charge"), sent)
    twice = front_desk.post(at(job, "charge"), sent)
    assert twice.status_code == 422
    assert 'id="charge-document_error"' in twice.content.decode()
    front_desk.post(f"/vendor-work/charges/{Charge.objects.get().uid}/reverse/")
    assert list(Charge.objects.values_list("net_minor", flat=True)) == [5_500, -5_500]
    kept = {"agreed_minor": "60", "agreed_status": "seen", "agreed_by": "Iris", "agreed_on": day()}
    assert front_desk.post(at(job, "agree"), kept).status_code == 302, "with no charge standing the price can be noted"


def test_a_claim_is_settled_within_the_terms(front_desk: Client, job: Job) -> None:
    Terms.objects.create(vendor=job.vendor, claim_cap_minor=2_000)
    line = out(front_desk, job).lines.get()
    front_desk.post(at(job, "count-in"), coming(line, good="3", lost="1", note="One gone"))
    claim = Claim.objects.get()
    address = f"/vendor-work/claims/{claim.uid}/settle/"
    sent = {"settled_minor": "30", "payer": "vendor", "settled_how": "By phone"}
    wrong = front_desk.post(address, sent)
    assert wrong.status_code == 422
    assert f'id="claim-{claim.uid}-settled_minor_error"' in wrong.content.decode()
    assert 'value="By phone"' in wrong.content.decode()
    assert front_desk.post(address, sent | {"settled_minor": "20"}).status_code == 302
    claim.refresh_from_db()
    assert (claim.settled_minor, claim.payer) == (2_000, "vendor")


def asking(line: Line, **changes: str) -> dict[str, str]:
    sent = {"line": str(line.uid), "words": "Bore out of true", "asked_minor": "40", "payer": "vendor"}
    return sent | changes


def test_a_claim_is_made_by_hand_within_the_terms_and_settled_there(front_desk: Client, job: Job) -> None:
    Terms.objects.create(vendor=job.vendor, claim_cap_minor=3_000)
    line = out(front_desk, job).lines.get()
    front_desk.post(at(job, "count-in"), coming(line, good="4"))
    assert re.search(r'name="cap_minor" value="30(\.00)?"', front_desk.get(at(job)).content.decode())
    wrong = front_desk.post(at(job, "claim"), asking(line, cap_minor="30"))
    assert wrong.status_code == 422
    assert 'id="claim-asked_minor_error"' in wrong.content.decode()
    assert 'value="Bore out of true"' in wrong.content.decode()
    for _tap in range(2):
        assert front_desk.post(at(job, "claim"), asking(line, cap_minor="30", asked_minor="25")).status_code == 302
    claim = Claim.objects.get()
    assert (claim.asked_minor, claim.cap_minor, claim.redo_free, claim.payer) == (2_500, 3_000, False, "vendor")
    said = text(front_desk.get(at(job)))
    assert "Bore out of true open we ask for €25.00 · the vendor pays €30.00 at most" in said
    settled = {"settled_minor": "20", "payer": "vendor", "settled_how": "Taken off the next bill"}
    front_desk.post(f"/vendor-work/claims/{claim.uid}/settle/", settled)
    claim.refresh_from_db()
    assert (claim.settled_minor, claim.settled_by) == (2_000, "ada")


def test_a_claim_may_go_to_the_insurance_or_be_done_again_free(front_desk: Client, job: Job) -> None:
    line = out(front_desk, job).lines.get()
    front_desk.post(at(job, "claim"), asking(line, payer="insurer", cap_minor="1"))
    front_desk.post(at(job, "claim"), asking(line, words="Dull", asked_minor="", redo_free="on"))
    first, second = Claim.objects.order_by("pk")
    assert (first.payer, first.asked_minor) == ("insurer", 4_000), "what the vendor pays at most binds the vendor alone"
    assert (second.redo_free, second.asked_minor) == (True, None)
    said = text(front_desk.get(at(job)))
    assert "to pay: an insurance" in said
    assert "it is done again free" in said


@pytest.mark.parametrize(
    ("typed", "box"),
    [({"words": ""}, "words"), ({"asked_minor": "much"}, "asked_minor"), ({"line": str(uuid4())}, "line")],
)
def test_a_wrong_claim_is_said_at_its_box(front_desk: Client, job: Job, typed: dict[str, str], box: str) -> None:
    answer = front_desk.post(at(job, "claim"), asking(out(front_desk, job).lines.get()) | typed)
    assert answer.status_code == 422
    assert f'id="claim-{box}_error"' in answer.content.decode()
    assert not Claim.objects.exists()


def test_nothing_is_claimed_for_what_did_not_go_out(front_desk: Client, job: Job) -> None:
    assert front_desk.post(at(job, "claim"), asking(job.lines.get())).status_code == 422
    assert not Claim.objects.exists()


def test_a_claim_made_by_hand_stands_where_the_arrival_was_a_slip(front_desk: Client, job: Job) -> None:
    line = out(front_desk, job).lines.get()
    front_desk.post(at(job, "claim"), asking(line, words="Told by phone: bent"))
    front_desk.post(at(job, "count-in"), coming(line, damaged="4", note="Bent"))
    assert Claim.objects.count() == 2
    front_desk.post(f"/vendor-work/lines/{line.uid}/take-back/")
    assert Claim.objects.get().words == "Told by phone: bent"


def test_a_new_day_is_noted_and_the_old_one_stands_beside_it(front_desk: Client, job: Job) -> None:
    out(front_desk, job)
    sent = {"due_on": day(20), "status": "seen", "said_by": "Iris", "told_on": day(), "note": "Bath is new"}
    assert front_desk.post(at(job, "new-day"), sent).status_code == 302
    assert "not any more" in text(front_desk.get(at(job)))
    wrong = front_desk.post(at(job, "new-day"), sent | {"due_on": day(-3), "note": "Bath again"})
    assert wrong.status_code == 422
    assert 'id="day-due_on_error"' in wrong.content.decode()
    assert 'value="Bath again"' in wrong.content.decode()


# -- the note, the vendor, the trip ------------------------------------------------------------------------------------


def test_the_vendors_copy_says_nothing_of_our_figures_but_the_agreed_price(
    front_desk: Client, part: Part, job: Job
) -> None:
    agreed = {"agreed_minor": "61.50", "agreed_status": "phoned", "agreed_by": "Iris", "agreed_on": day()}
    front_desk.post(at(job, "agree"), agreed)
    tag = tagged(part)
    ours, theirs = (
        vendor_paper.html(vendor_paper.note(vendor_job.known_job(job.uid), for_vendor=for_vendor, now=timezone.now()))
        for for_vendor in (False, True)
    )
    for html in (ours, theirs):
        assert "€61.50" in html
        assert f"{tag.code[:3]} {tag.code[3:]}" in html
        assert "clamping faces stay bare" in html
        assert str(part.restoration.customer) not in html
    assert "€50.00" in ours
    assert "€50.00" not in theirs
    assert str(part.restoration) not in theirs


def test_the_note_is_a_paper(front_desk: Client, job: Job) -> None:
    answer = front_desk.get(at(job, "note"), {"for": "vendor"})
    assert answer.headers["Content-Type"] == "application/pdf"
    assert b"".join(answer).startswith(b"%PDF") if answer.streaming else answer.content.startswith(b"%PDF")


def test_the_vendors_terms_are_set_and_what_is_wrong_is_said_at_its_box(front_desk: Client, job: Job) -> None:
    page = f"/vendor-work/vendors/{job.vendor.uid}/"
    sent = {"takes_in_on": ["2", "4"], "insured_minor": "500", "claim_cap_minor": "", "note": "Ring first"}
    assert front_desk.post(page, sent | {"redo_free": "on"}).status_code == 302
    terms = Terms.objects.get()
    assert (terms.takes_in_on, terms.insured_minor, terms.claim_cap_minor, terms.redo_free) == (
        "24",
        50_000,
        None,
        True,
    )
    for changed, box in (
        ({"takes_in_on": []}, "takes_in_on"),
        ({"mails": "on"}, "mails"),
        ({"insured_minor": "x"}, "insured_minor"),
    ):
        wrong = front_desk.post(page, sent | changed)
        assert wrong.status_code == 422
        assert f'id="terms-{box}_error"' in wrong.content.decode()
        assert 'value="Ring first"' in wrong.content.decode()


def test_the_vendors_page_takes_as_many_queries_with_5000_jobs_as_with_one(front_desk: Client, job: Job) -> None:
    page = f"/vendor-work/vendors/{job.vendor.uid}/"
    made = timezone.now()

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert front_desk.get(page).status_code == 200
        return len(captured)

    first = Job.objects.get().number + 1
    rows = [
        Job(
            number=first + number,
            service=job.service,
            made_at=made,
            made_by="ada",
            cancelled_at=made,
            cancelled_by="ada",
        )
        for number in range(5_000)
    ]
    queries()
    few = queries()
    Job.objects.bulk_create(rows)
    assert queries() == few


def test_the_trip_says_what_to_take_and_fetch_and_is_ticked(
    front_desk: Client, bike: Restoration, shop: Workshop, job: Job
) -> None:
    Terms.objects.create(vendor=job.vendor, takes_in_on="1234567".replace(str(timezone.localdate().isoweekday()), ""))
    other = out(front_desk, planned(lever(bike, shop, name="Pin")))
    said = text(front_desk.get("/vendor-work/trip/"))
    assert "Take along" in said
    assert "takes nothing in on a" in said
    assert "Fetch" not in said
    assert "Fetch" in text(front_desk.get("/vendor-work/trip/", {"day": day(10)}))
    ticked = {"day": day(), "kind": "take", "ticked": "on"}
    for _turn in range(2):
        front_desk.post(at(job, "tick"), ticked)
    assert Tick.objects.get().job == job
    front_desk.post(at(job, "tick"), {"day": day(), "kind": "take"})
    assert not Tick.objects.exists()
    assert front_desk.get("/vendor-work/trip/", {"day": "some day"}).status_code == 422
    assert front_desk.post(at(other, "tick"), {"day": "x"}).status_code == 302


def test_the_trip_says_what_is_held_back_and_why(
    front_desk: Client, bike: Restoration, shop: Workshop, part: Part, job: Job
) -> None:
    other = planned(lever(bike, shop, name="Pin"))
    assert "held back" not in text(front_desk.get("/vendor-work/trip/"))
    Part.objects.filter(pk=part.pk).update(strength=1_750)
    said = text(front_desk.get("/vendor-work/trip/"))
    assert f"{job} Zinc plate held back" in said
    assert "must not be electroplated at 1750 MPa" in said
    assert f"{other} Zinc plate Pin" in said, "that one may go"
    line = other.lines.get()
    wait_for(step=line.step, on=part.steps.order_by("position")[0], **WHO)
    assert f"{other} Zinc plate held back Pin 4× Pin: " in text(front_desk.get("/vendor-work/trip/"))


def test_a_trip_takes_as_many_queries_with_twenty_lots_as_with_one(
    front_desk: Client, bike: Restoration, shop: Workshop, job: Job
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert front_desk.get("/vendor-work/trip/").status_code == 200
        return len(captured)

    queries()
    one = queries()
    for number in range(19):
        planned(lever(bike, shop, name=f"Lever {number}"))
    assert queries() == one


# -- straight on -------------------------------------------------------------------------------------------------------


@pytest.fixture
def polisher(shop: Workshop) -> Service:
    vendor = Vendor.objects.create(name="Weir Polishers")
    return Service.objects.create(vendor=vendor, name="Polish", measure="piece")


@pytest.fixture
def plated_then_polished(part: Part, polisher: Service) -> Job:
    """Out at the plater; it goes to a polisher next."""
    job = planned(part)
    agree_to(add_step(part=part, origin=Step.Origin.FINISH, service=polisher, **WHO))
    return job


def going_on(to: Job, **changes: str) -> dict[str, str]:
    sent = {"to": str(to.uid), "on": day(), "looked_by": "Iris", "due_on": day(7), "status": "phoned", "said_by": "Abe"}
    return sent | changes


def test_what_is_out_goes_straight_on_to_the_next_vendor(
    front_desk: Client, part: Part, polisher: Service, plated_then_polished: Job
) -> None:
    tag, job = tagged(part), out(front_desk, plated_then_polished)
    page = front_desk.get(at(job))
    assert "After this it goes to Weir Polishers" in text(page)
    steps = re.findall(r'name="step" value="([^"]+)"', page.content.decode())
    front_desk.post("/vendor-work/plan/", {"step": steps})
    following = Job.objects.get(service=polisher)
    page = front_desk.get(at(job))
    assert "After this it goes to" not in text(page), "it is planned by now"
    assert f'<option value="{following.uid}"' in page.content.decode()
    wrong = front_desk.post(at(job, "on"), going_on(following, looked_by=""))
    assert wrong.status_code == 422
    assert 'id="on-looked_by_error"' in wrong.content.decode()
    assert place(tag) == "Brook Platers"
    assert front_desk.post(at(job, "on"), going_on(following)).status_code == 302
    job.refresh_from_db()
    following.refresh_from_db()
    line = job.lines.get()
    assert (line.outcome, line.straight_on, line.looked_by, job.back_on) == ("good", True, "Iris", timezone.localdate())
    assert (following.sent_on, following.came_from, place(tag)) == (timezone.localdate(), job, "Weir Polishers")
    assert f"straight on from {job}, Brook Platers" in text(front_desk.get(at(following)))
    assert "went straight on" in text(front_desk.get(at(job)))


def test_what_holds_the_next_lot_back_keeps_it_where_it_is(
    front_desk: Client, bike: Restoration, shop: Workshop, part: Part, polisher: Service, plated_then_polished: Job
) -> None:
    """The next lot has something in it that is not at this vendor."""
    job = out(front_desk, plated_then_polished)
    other = lever(bike, shop, name="Pin")
    steps = [add_step(part=other, origin=Step.Origin.FINISH, service=polisher, **WHO)]
    agree_to(*steps)
    following = plan_lot(steps=[*steps, part.steps.get(service=polisher)], **WHO)
    answer = front_desk.post(at(job, "on"), going_on(following))
    assert answer.status_code == 422
    assert "Only what is there can go straight on." in text(answer)
    job.refresh_from_db()
    assert (job.back_on, job.lines.get().outcome, Job.objects.get(pk=following.pk).sent_on) == (None, "", None)


# -- who, and how often ------------------------------------------------------------------------------------------------


def test_a_mechanic_reaches_none_of_it(mechanic: Client, job: Job) -> None:
    pages = [at(job), at(job, "note"), f"/vendor-work/vendors/{job.vendor.uid}/", "/vendor-work/trip/"]
    assert [mechanic.get(page).status_code for page in pages] == [403] * 4
    sends = [
        "send",
        "count-in",
        "charge",
        "cancel",
        "again",
        "tick",
        "agree",
        "change",
        "add",
        "new-day",
        "on",
        "claim",
    ]
    assert {mechanic.post(at(job, name)).status_code for name in sends} == {403}
    assert User.objects.exists()


def test_an_address_left_in_the_bar_leads_to_the_page(front_desk: Client, job: Job) -> None:
    for name in ("send", "count-in", "charge", "change"):
        assert front_desk.get(at(job, name)).headers["Location"] == at(job)
    assert front_desk.get(f"/vendor-work/lines/{job.lines.get().uid}/").headers["Location"] == at(job)


def test_a_job_takes_as_many_queries_with_fifty_lines_as_with_one(
    front_desk: Client, bike: Restoration, shop: Workshop, job: Job
) -> None:
    def queries(of: Job) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert front_desk.get(at(of)).status_code == 200
        return len(captured)

    queries(job)
    few = out(front_desk, job)
    one = queries(few)
    many = planned(*(lever(bike, shop, name=f"Lever {number}") for number in range(50)))
    assert queries(out(front_desk, many)) == one
