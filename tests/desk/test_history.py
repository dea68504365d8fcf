"""The page of what happened: in words, with who and when, and an undo at each change."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from quotes.desk import history, told, undoing
from shop.journal.models import Entry
from shop.restorations.models import Part, Restoration
from shop.restorations.services import add_part, remove_part
from shop.routes.many import edit_parts
from shop.routes.models import Step
from shop.routes.parts import edit_part
from shop.routes.services import add_step
from tests.workshop import NOW, WHO, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db
BEN: dict[str, Any] = {"who": "ben", "now": NOW + timedelta(minutes=1)}


@pytest.fixture
def bike() -> Restoration:
    row = restoration()
    draft(row)
    return row


def address(row: Restoration) -> str:
    return f"/restorations/{row.uid}/history/"


def way(row: Restoration, entry: Entry) -> str:
    return f"{address(row)}{entry.uid}/undo/"


def test_a_change_is_told_in_words_with_who_and_when(front_desk: Client, bike: Restoration) -> None:
    shop = workshop()
    part = frame(bike, shop, pieces=2)
    edit_part(part=part, changes={"pieces": 4, "agreed_finish": shop.green}, **BEN)
    page = front_desk.get(address(bike)).content.decode()
    for said in ("Frame: changed", "pieces from 2 to 4", "agreed finish from Black to Green", "ben", "route laid anew"):
        assert said in page
    assert "agreed_finish" not in page


def test_the_newest_stands_first_and_a_change_of_many_entries_is_one(bike: Restoration) -> None:
    shop = workshop()
    part = frame(bike, shop)
    edit_part(part=part, changes={"agreed_finish": shop.green}, **BEN)
    told = history.happened(history.entries(bike))
    assert [one.entry.what for one in told][:2] == ["part changed", "part added"]
    assert [one.what for one, _words in told[0].others] == ["route laid anew"]


def test_another_bike_keeps_to_itself(front_desk: Client, bike: Restoration) -> None:
    other = restoration("Merlin 350")
    add_part(restoration=other, name="Their stand", **WHO)
    entry = Entry.objects.get(what="part added")
    assert b"Their stand" not in front_desk.get(address(bike)).content
    assert front_desk.post(way(bike, entry)).status_code == 404
    assert Part.objects.get().removed_at is None


def test_undo_from_the_page_undoes_and_offers_to_undo_that(front_desk: Client, bike: Restoration) -> None:
    part = add_part(restoration=bike, name="Stand", **WHO)
    remove_part(part=part, **WHO)
    entry = Entry.objects.latest("pk")
    answer = front_desk.post(way(bike, entry), {"next": f"/restorations/{bike.uid}/"}, follow=True)
    part.refresh_from_db()
    assert part.removed_at is None
    assert answer.redirect_chain == [(f"/restorations/{bike.uid}/", 302)]
    back = Entry.objects.latest("pk")
    assert way(bike, back) in answer.content.decode()
    front_desk.post(way(bike, back))
    part.refresh_from_db()
    assert part.removed_at is not None


def test_what_a_colleague_changed_is_said_before_it_is_undone(front_desk: Client, bike: Restoration) -> None:
    part = add_part(restoration=bike, name="Stand", **WHO)
    edit_part(part=part, changes={"pieces": 4}, **WHO)
    entry = Entry.objects.latest("pk")
    edit_part(part=part, changes={"pieces": 6}, **BEN)
    asked = front_desk.post(way(bike, entry))
    assert asked.status_code == 409
    assert "it left 4, now it is 6" in asked.content.decode()
    assert "Changed by ben" in asked.content.decode()
    front_desk.post(way(bike, entry), {"over": asked.context["over"]})
    part.refresh_from_db()
    assert part.pieces == 1


def test_what_stays_has_no_button_and_says_why(front_desk: Client, bike: Restoration) -> None:
    page = front_desk.get(address(bike)).content.decode()
    assert "A restoration that was begun stays on record." in page
    assert page.count("/undo/") == 0


def test_nobody_is_sent_elsewhere(front_desk: Client, bike: Restoration) -> None:
    add_part(restoration=bike, name="Stand", **WHO)
    entry = Entry.objects.latest("pk")
    for sent in ("https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"):
        assert front_desk.post(way(bike, entry), {"next": sent}).headers["Location"] == address(bike)


@pytest.mark.parametrize("who", ["mechanic", "stranger"])
def test_it_is_for_desk_and_manager(request: pytest.FixtureRequest, bike: Restoration, who: str) -> None:
    add_part(restoration=bike, name="Stand", **WHO)
    client: Client = request.getfixturevalue(who)
    assert client.get(address(bike)).status_code in {302, 403}
    assert client.post(way(bike, Entry.objects.latest("pk"))).status_code in {302, 403}
    assert Part.objects.get().removed_at is None


def _queries(client: Client, row: Restoration) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert client.get(address(row)).status_code == 200
    return len(queries)


def test_queries_do_not_grow_with_what_happened(front_desk: Client, bike: Restoration) -> None:
    shop = workshop()
    part = frame(bike, shop)
    add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    undoing.undo(restoration=bike, entry=_edited(part, shop.green), **BEN)
    one = _queries(front_desk, bike)
    for _count in range(5):
        other = frame(bike, shop)
        add_step(part=other, origin=Step.Origin.BEFORE, operation=shop.fit, quantity=Decimal(1), **WHO)
        undoing.undo(restoration=bike, entry=_edited(other, shop.green), **BEN)
    assert _queries(front_desk, bike) == one


def _edited(part: Part, finish: Any) -> Entry:
    edit_part(part=part, changes={"agreed_finish": finish}, **WHO)
    return Entry.objects.filter(what="part changed").latest("pk")


def test_a_part_taken_out_is_brought_back_from_the_message(front_desk: Client, bike: Restoration) -> None:
    part = add_part(restoration=bike, name="Stand", **WHO)
    page = front_desk.post(f"/parts/{part.uid}/take-out/", follow=True).content.decode()
    entry = Entry.objects.latest("pk")
    assert f'action="{way(bike, entry)}"' in page


@pytest.mark.parametrize("scripted", [True, False])
def test_a_step_taken_off_is_undone_from_what_is_said(front_desk: Client, bike: Restoration, scripted: bool) -> None:
    part = frame(bike, workshop())
    step = part.steps.order_by("position")[0]
    headers = {"HX-Request": "true"} if scripted else {}
    page = front_desk.post(f"/steps/{step.uid}/take-off/", headers=headers, follow=True).content.decode()
    assert f'action="{way(bike, Entry.objects.latest("pk"))}"' in page
    front_desk.post(way(bike, Entry.objects.latest("pk")))
    step.refresh_from_db()
    assert step.removed_at is None


def test_many_parts_are_told_as_many(front_desk: Client, bike: Restoration) -> None:
    parts = [add_part(restoration=bike, name=name, **WHO) for name in ("Stand", "Rack")]
    bike.refresh_from_db()
    uids = [part.uid for part in parts]
    edit_parts(restoration=bike, parts=uids, seen=bike.scope_version, changes={"condition": "sound"}, **WHO)
    assert "2 parts: changed" in front_desk.get(address(bike)).content.decode()


def test_a_quote_that_a_newer_one_replaced_is_not_called_withdrawn() -> None:
    """As beside the quotes on the bike's own page."""
    replaced = Entry(what="quote withdrawn", before="{}", after='{"reason": "replaced by Q00002"}')
    by_hand = Entry(what="quote withdrawn", before="{}", after='{"kind": "withdrawn", "reason": "a slip"}')
    assert [told.what(one) for one in (replaced, by_hand)] == ["quote replaced", "quote withdrawn"]
