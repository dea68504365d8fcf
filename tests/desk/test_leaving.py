"""Hand-over, comebacks and small jobs at the desk, and the manager's list of what is looked at before a bike leaves."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop.floor.models import Comeback, HandedOver, Snag, WalkIn
from shop.methods.models import RunCheck, Stage
from shop.routes.models import Task
from tests.floor.bench import Bench, bench
from tests.floor.leaves import all_runs, hand_over, late, looked_at
from tests.workshop import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def at() -> Bench:
    looked_at()
    return bench()


@pytest.fixture
def ready(at: Bench) -> Bench:
    all_runs(at.bike, at.joe)
    return at


@pytest.fixture
def gone(ready: Bench) -> Bench:
    hand_over(ready.bike)
    return ready


def page(at: Bench, name: str = "hand-over") -> str:
    return f"/restorations/{at.bike.uid}/{name}/"


def text(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def sheet(**changes: str) -> dict[str, str]:
    today = timezone.localdate().isoformat()
    plain = {
        "received_by": "Mr Fell",
        "on": today,
        "reading": "18240",
        "keys": "2",
        "papers": "Book",
        "replaced": "",
        "after_care": "Call us",
    }
    return plain | changes


def shown(client: Client, at: Bench, **changes: str) -> str:
    """The mark of the sheet as it was shown."""
    answer = client.post(page(at), sheet(**changes) | {"then": "show"})
    assert answer.status_code == 200
    found = re.search(r'name="seen" id="id_seen" value="([0-9a-f]{64})"', answer.content.decode())
    assert found
    return found[1]


def test_the_page_says_what_keeps_the_bike_here(at: Bench, front_desk: Client) -> None:
    Snag.objects.create(restoration=at.bike, words="Rattles", person=at.joe, at=NOW)
    said = text(front_desk.get(page(at)))
    for words in ("The first start is missing.", "The road test is missing.", "Snag: Rattles"):
        assert words in said
    answer = front_desk.post(page(at), sheet() | {"then": "signed", "seen": shown(front_desk, at)})
    assert answer.status_code == 422
    assert "The road test is missing." in text(answer)
    assert not HandedOver.objects.exists()


def test_the_sheet_is_shown_signed_and_kept(ready: Bench, front_desk: Client) -> None:
    seen = shown(front_desk, ready, received_by="Mrs Fell")
    sent = sheet(received_by="Mrs Fell") | {"then": "signed", "seen": seen}
    assert front_desk.post(page(ready), sent).status_code == 302
    row = HandedOver.objects.get()
    assert (row.received_by, row.words_sha256) == ("Mrs Fell", seen)
    said = text(front_desk.get(page(ready)))
    assert "Mrs Fell received it on" in said
    assert f"sheet {seen[:10]}" in said


def test_what_was_typed_after_the_sheet_was_shown_has_to_be_looked_at_again(ready: Bench, front_desk: Client) -> None:
    seen = shown(front_desk, ready)
    answer = front_desk.post(page(ready), sheet(keys="3") | {"then": "signed", "seen": seen})
    assert answer.status_code == 422
    assert "Something was changed after you looked" in text(answer)
    assert 'value="3"' in answer.content.decode()
    assert not HandedOver.objects.exists()


def test_late_money_asks_for_a_name_and_a_reason(
    ready: Bench, front_desk: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from shop.routes import funding

    late(ready.bike, 125_000)
    owed = funding.Funds(0, 125_000)
    monkeypatch.setattr("quotes.pricing.money.funded.funds", lambda _bike, _today: owed)
    monkeypatch.setattr(funding, "funds_of", lambda _bike, now: owed)
    assert "is late. It may go only when somebody puts a name to it." in text(front_desk.get(page(ready)))
    sent = sheet() | {"then": "signed", "seen": shown(front_desk, ready)}
    refused = front_desk.post(page(ready), sent)
    assert refused.status_code == 422
    assert "Say who lets the bike go all the same" in text(refused)
    front_desk.post(page(ready), sent | {"let_go_by": "Ada", "let_go_why": "Pays on Friday"})
    assert HandedOver.objects.get().let_go_by == "Ada"


def test_an_impossible_day_is_said_at_its_box_and_nothing_is_lost(ready: Bench, front_desk: Client) -> None:
    day = (timezone.localdate() + timedelta(days=2)).isoformat()
    answer = front_desk.post(page(ready), sheet(on=day, papers="Old book") | {"then": "signed", "seen": "x"})
    assert answer.status_code == 422
    assert "still to come" in text(answer)
    assert "Old book" in answer.content.decode()


# comebacks


def test_a_comeback_is_noted_with_a_step_that_was_found_and_is_settled(gone: Bench, front_desk: Client) -> None:
    typed = {
        "words": "Coat lifts",
        "came_on": timezone.localdate().isoformat(),
        "pays": "we",
        "cause": str(gone.cause.uid),
    }
    found = front_desk.post(
        page(gone, "comeback"), typed | {"find": "spray", "then": "find", "uid": str(gone.part.uid)}
    )
    assert found.status_code == 200
    assert 'value="Coat lifts"' in found.content.decode()
    assert f"{gone.part}: {gone.spray}" in text(found)
    refused = front_desk.post(page(gone, "comeback"), typed | {"then": "note", "uid": str(gone.part.uid)})
    assert "Find the step it comes from, and choose it." in text(refused)
    sent = typed | {"then": "note", "uid": str(gone.part.uid), "step": str(gone.spray.uid)}
    for _ in range(2):
        assert front_desk.post(page(gone, "comeback"), sent).status_code == 302
    row = Comeback.objects.get()
    assert row.task.kind == Task.Kind.COMEBACK
    said = text(front_desk.get("/comebacks/"))
    assert "Coat lifts" in said
    assert "Runs in the coat" in said
    empty = front_desk.post(f"/comebacks/{row.uid}/settle/", {"how": ""})
    assert empty.status_code == 422
    front_desk.post(f"/comebacks/{row.uid}/settle/", {"how": "Coated anew"})
    assert Comeback.objects.get().settled_how == "Coated anew"


def test_before_hand_over_the_page_of_comebacks_leads_to_the_hand_over(at: Bench, front_desk: Client) -> None:
    assert front_desk.get(page(at, "comeback"))["Location"] == page(at)


# small jobs


def test_a_small_job_is_noted_in_one_form_done_and_paid(at: Bench, front_desk: Client) -> None:
    today = timezone.localdate()
    form = front_desk.get("/small-jobs/").content.decode()
    uid = re.search(r'name="uid" value="([^"]+)"', form)
    assert uid
    sent = {
        "uid": uid[1],
        "what": "True a wheel",
        "customer": "Mrs Dale",
        "phone": "0123",
        "agreed_minor": "85.00",
        "minutes": "90",
        "agreed_on": today.isoformat(),
    }
    for _ in range(2):
        assert front_desk.post("/small-jobs/", sent).status_code == 302
    row = WalkIn.objects.get()
    assert (row.agreed_minor, row.minutes, row.task.name) == (8_500, 90, "True a wheel")
    front_desk.post(f"/small-jobs/{row.uid}/done/")
    front_desk.post(f"/small-jobs/{row.uid}/paid/", {"on": today.isoformat()})
    row = WalkIn.objects.select_related("task").get()
    assert row.task.closed_at
    assert row.paid_on == today
    front_desk.post(f"/small-jobs/{row.uid}/paid/", {"undo": "1"})
    assert WalkIn.objects.get().paid_on is None


def test_what_is_wrong_with_a_small_job_is_said_and_nothing_is_lost(at: Bench, front_desk: Client) -> None:
    answer = front_desk.post(
        "/small-jobs/", {"what": "True a wheel", "customer": "", "agreed_minor": "lots", "agreed_on": ""}
    )
    assert answer.status_code == 422
    assert 'value="True a wheel"' in answer.content.decode()
    assert 'value="lots"' in answer.content.decode()
    assert not WalkIn.objects.exists()


# what is looked at


def test_the_manager_adds_changes_orders_and_ends_what_is_looked_at(at: Bench, manager: Client) -> None:
    manager.post("/methods/runs/new/", {"stage": "road_test", "words": "Mirrors", "caution": "Only a licensed rider"})
    row = RunCheck.objects.get(words="Mirrors")
    assert row.position == 3
    manager.post(f"/methods/runs/{row.uid}/move/", {"up": "1"})
    assert [one.words for one in RunCheck.objects.filter(stage=Stage.ROAD_TEST)] == [
        "Brakes at walking pace",
        "Mirrors",
        "Lights",
    ]
    sent = {
        "words": "Mirrors and plates",
        "seen-words": "Mirrors",
        "caution": "",
        "seen-caution": "Only a licensed rider",
        "seen-ended": "False",
    }
    refused = manager.post(f"/methods/runs/{row.uid}/", sent)
    assert refused.status_code == 422
    assert "The caution may go" in text(refused)
    assert manager.post(f"/methods/runs/{row.uid}/", sent | {"caution_may_go": "1"}).status_code == 302
    manager.post(
        f"/methods/runs/{row.uid}/",
        {
            "words": "Mirrors and plates",
            "seen-words": "Mirrors and plates",
            "caution": "",
            "seen-caution": "",
            "ended": "on",
            "seen-ended": "False",
        },
    )
    row.refresh_from_db()
    assert (row.words, row.caution, row.ended) == ("Mirrors and plates", "", True)


def test_the_list_is_the_managers_to_change_and_the_desks_to_read(
    at: Bench, front_desk: Client, mechanic: Client
) -> None:
    assert "Lights" in text(front_desk.get("/methods/runs/"))
    assert front_desk.post("/methods/runs/new/", {"stage": "road_test", "words": "x"}).status_code == 403
    for address in ("/methods/runs/", page(at), "/comebacks/", "/small-jobs/"):
        assert mechanic.get(address).status_code == 403


def queries(client: Client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_the_lists_ask_the_same_with_one_row_as_with_many(gone: Bench, front_desk: Client) -> None:
    from tests.floor.test_comebacks import came_back, walked_in

    came_back(gone)
    walked_in()
    addresses = ("/comebacks/", "/small-jobs/", page(gone))
    before = [queries(front_desk, one) for one in addresses]
    for number in range(5):
        came_back(gone, words=f"Rattles {number}", step=gone.fit)
        walked_in(what=f"Wheel {number}")
    assert [queries(front_desk, one) for one in addresses] == before
