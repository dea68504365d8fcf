"""The manager's pages of checks: added, changed, ordered, ended; and a returning cause put in with one tap."""

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from quotes.desk.waiting_bench import returning
from shop.floor.doing import again, done
from shop.journal.models import Entry
from shop.methods.models import Check
from tests.floor.bench import Bench, bench, check
from tests.workshop import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(db: None) -> Bench:
    return bench()


def here(shop: Bench, tail: str = "") -> str:
    return f"/methods/operations/{shop.shop.blast.uid}/checks/{tail}"


def sent(client: Client, where: str, **typed: str) -> dict[str, str]:
    """The boxes of a page as a browser sends them."""
    data: dict[str, str] = {}
    for box, seen in client.get(where).context["form"].boxes():
        data["seen-" + box.name] = seen
        value = box.value()
        if value is not False:
            data[box.html_name] = "" if value is None else "on" if value is True else str(value)
    return data | typed


def fail_twice(shop: Bench) -> None:
    given: dict[str, Any] = {"came_from": None, "cause": shop.cause, "pieces": 1, "person": shop.joe, "now": NOW}
    for _time in range(2):
        done(step=shop.blast, person=shop.joe, now=NOW)
        shop.blast.refresh_from_db()
        again(uid=uuid.uuid4(), step=shop.blast, visit=shop.blast.visit, back_to=shop.blast, **given)
        shop.blast.refresh_from_db()


def test_the_desk_reads_and_only_the_manager_changes(shop: Bench, front_desk: Client, mechanic: Client) -> None:
    row = check(shop.shop.blast)
    assert "Threads masked" in front_desk.get(here(shop)).content.decode()
    assert mechanic.get(here(shop)).status_code == 403
    for where in (here(shop, "new/"), f"/methods/checks/{row.uid}/change/"):
        assert front_desk.get(where).status_code == front_desk.post(where).status_code == 403
    for where in (f"/methods/checks/{row.uid}/move/", here(shop, "proposed/")):
        assert front_desk.post(where).status_code == 403


def test_a_new_check_is_asked_last_and_told(shop: Bench, manager: Client) -> None:
    check(shop.shop.blast, "First", position=4)
    manager.post(here(shop, "new/"), {"words": "Torque", "kind": "measure", "unit": "Nm", "low": "8", "high": "10,5"})
    row = Check.objects.get(words="Torque")
    assert (row.position, str(row.low), str(row.high), row.unit) == (5, "8.000", "10.500", "Nm")
    assert Entry.objects.filter(what="method added", subject_uid=row.uid).exists()


@pytest.mark.parametrize(
    ("typed", "said"),
    [({"low": "", "high": ""}, "Give at least one limit"), ({"low": "10", "high": "8"}, "Swap them")],
)
def test_what_is_measured_needs_limits_in_order(shop: Bench, manager: Client, typed: dict[str, str], said: str) -> None:
    answer = manager.post(here(shop, "new/"), {"words": "Torque", "kind": "measure", "unit": "Nm"} | typed)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="Torque"' in answer.content.decode()
    assert not Check.objects.exists()


def test_a_check_is_changed_and_ended_and_two_people_do_not_overwrite_each_other(shop: Bench, manager: Client) -> None:
    row = check(shop.shop.blast)
    where = f"/methods/checks/{row.uid}/change/"
    mine = sent(manager, where, words="Threads and bores masked")
    Check.objects.filter(pk=row.pk).update(words="Bores masked")
    answer = manager.post(where, mine)
    assert answer.status_code == 422
    assert "Somebody else changed this to “Bores masked”" in answer.content.decode()
    manager.post(where, sent(manager, where, ended="on"))
    row.refresh_from_db()
    assert (row.words, row.ended) == ("Bores masked", True)
    assert "Not used any more" in manager.get(here(shop)).content.decode()


def test_checks_are_put_in_another_order(shop: Bench, manager: Client) -> None:
    for place, words in enumerate(("One", "Two", "Three"), start=1):
        check(shop.shop.blast, words, position=place)
    check(shop.shop.blast, "Old", position=4, ended=True)
    manager.post(f"/methods/checks/{Check.objects.get(words='Three').uid}/move/", {"up": "1"})
    manager.post(f"/methods/checks/{Check.objects.get(words='One').uid}/move/", {"up": "0"})
    manager.post(f"/methods/checks/{Check.objects.get(words='Two').uid}/move/", {"up": "0"})
    assert list(Check.objects.filter(ended=False).values_list("words", flat=True)) == ["Three", "One", "Two"]


def test_a_returning_cause_is_before_the_manager_and_goes_in_with_one_tap(
    shop: Bench, manager: Client, front_desk: Client
) -> None:
    assert returning(timezone.localdate()).rows == []
    fail_twice(shop)
    assert "A cause returns" in manager.get("/").content.decode()
    assert "A cause returns" not in front_desk.get("/").content.decode()
    assert shop.cause.check_words in manager.get(here(shop)).content.decode()
    manager.post(here(shop, "proposed/"), {"cause": str(shop.cause.uid), "wanted": "1"})
    row = Check.objects.get()
    assert (row.words, row.operation, row.against) == (shop.cause.check_words, shop.shop.blast, shop.cause)
    assert returning(timezone.localdate()).rows == []


def test_a_proposal_that_is_not_wanted_is_not_made_again(shop: Bench, manager: Client) -> None:
    fail_twice(shop)
    manager.post(here(shop, "proposed/"), {"cause": str(shop.cause.uid), "wanted": "0"})
    assert Check.objects.get().ended
    assert returning(timezone.localdate()).rows == []


def test_the_page_asks_as_much_for_many_checks_as_for_one(shop: Bench, manager: Client) -> None:
    check(shop.shop.blast)
    manager.get(here(shop))
    counts = []
    for _turn in range(2):
        with CaptureQueriesContext(connection) as found:
            manager.get(here(shop))
        counts.append(len(found))
        for number in range(9):
            check(shop.shop.blast, f"Look {number}", against=shop.cause)
    assert counts[0] == counts[1]
