"""The page that sets many parts at once: ticked boxes are enough, whatever the browser can do."""

from typing import Any

import pytest
from django.test import Client

from quotes.desk import undoing
from quotes.pricing.models import Draft
from quotes.pricing.selectors import priced
from shop.journal.models import Entry
from shop.restorations.models import Part, Restoration
from shop.restorations.services import change_part
from shop.routes.models import Step
from shop.text import money
from tests.workshop import WHO, Workshop, draft, frame, restoration, workshop

from .test_undoing import state

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    row = restoration()
    draft(row)
    for number in range(12):
        frame(row, shop, name=f"Bracket {number}", area_name="Rear" if number % 2 else "")
    row.refresh_from_db()
    return row


def sent(row: Restoration, **more: Any) -> dict[str, Any]:
    row.refresh_from_db()
    uids = [str(uid) for uid in row.parts.filter(removed_at=None).values_list("uid", flat=True)]
    return {"part": uids, "seen": row.scope_version} | more


def address(row: Restoration) -> str:
    return f"/restorations/{row.uid}/many/"


def undo_at(page: str) -> str:
    return page.split('<form method="post" action="')[1].split('"')[0] if "/undo/" in page else ""


@pytest.mark.parametrize("do", ["set", "step", "out"])
def test_what_was_done_to_all_is_undone_from_the_message_in_one_go(
    front_desk: Client, shop: Workshop, bike: Restoration, do: str
) -> None:
    before = state(bike)
    said = {
        "set": {"agreed_finish": str(shop.green.pk), "condition": "corroded"},
        "step": {"step-origin": "before", "step-operation": str(shop.fit.pk)},
        "out": {},
    }
    page = front_desk.post(address(bike), sent(bike, do=do, **said[do]), follow=True).content.decode()
    made = state(bike)
    assert made != before
    assert "12 parts" in page
    front_desk.post(undo_at(page))
    assert state(bike) == before
    undoing.undo(restoration=bike, entry=Entry.objects.get(reference__regex=r"^undo [^ ]+$"), **WHO)
    assert state(bike) == made


def test_what_was_done_names_the_parts_and_what_it_did_to_the_price(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    def total() -> str:
        return money(priced(Draft.objects.get(restoration=bike)).explained.result.total, "EUR")

    before = total()
    answer = front_desk.post(address(bike), sent(bike, do="set", agreed_finish=str(shop.zinc.pk)), follow=True)
    assert before != total()
    shown = answer.content.decode()
    assert "12 parts are set: Bracket 0, Bracket 1, Bracket 2, Bracket 3, Bracket 4 and 7 more." in shown
    assert f"The price goes from {before} to {total()}." in shown
    two = sent(bike, do="set", area_name="Front") | {"part": [bike.parts.get(name=f"Bracket {n}").uid for n in (7, 3)]}
    shown = front_desk.post(address(bike), two, follow=True).content.decode()
    assert "2 parts are set: Bracket 3, Bracket 7. The price stays as it was." in shown


def test_one_comes_back_to_the_line_where_one_was(front_desk: Client, bike: Restoration) -> None:
    rows = {number: bike.parts.get(name=f"Bracket {number}").uid for number in (3, 4, 7)}
    chosen = {"part": [rows[7], rows[4]]}
    answer = front_desk.post(address(bike), sent(bike, do="set", condition="sound") | chosen)
    assert answer["Location"] == f"/restorations/{bike.uid}/#row-{rows[4]}"
    answer = front_desk.post(address(bike), sent(bike, do="out") | chosen)
    assert answer["Location"] == f"/restorations/{bike.uid}/#row-{rows[3]}"
    answer = front_desk.post(address(bike), sent(bike, do="out"))
    assert answer["Location"] == f"/restorations/{bike.uid}/#parts"


def test_a_finish_for_parts_that_had_none_is_asked_first_and_names_them(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    for name in ("Engine plate", "Clip"):
        frame(bike, shop, name=name, finish=None)
    before = state(bike)
    given = sent(bike, do="set", agreed_finish=str(shop.green.pk))
    answer = front_desk.post(address(bike), given)
    page = answer.content.decode()
    assert "These have no finish yet: Engine plate, Clip." in page
    assert 'name="sure"' in page
    assert f'<option value="{shop.green.pk}" selected' in page
    assert state(bike) == before
    assert not Entry.objects.filter(reference__startswith="many ").exists()
    front_desk.post(address(bike), given | {"sure": "yes"})
    assert set(Part.objects.values_list("agreed_finish", flat=True)) == {shop.green.pk}


def test_taking_the_finish_away_asks_nothing(front_desk: Client, shop: Workshop, bike: Restoration) -> None:
    frame(bike, shop, name="Clip", finish=None)
    front_desk.post(address(bike), sent(bike, do="set", agreed_finish="none"))
    assert set(Part.objects.values_list("agreed_finish", flat=True)) == {None}


def test_an_area_is_enough(front_desk: Client, bike: Restoration) -> None:
    front_desk.post(address(bike), sent(bike, part=[], area=["Rear"], do="out"))
    assert Part.objects.filter(removed_at=None).exclude(area_name="").count() == 0
    assert Part.objects.filter(removed_at=None).count() == 6


def test_the_parts_without_an_area_are_one_too(front_desk: Client, bike: Restoration) -> None:
    front_desk.post(address(bike), sent(bike, part=[], area=[""], do="out"))
    assert set(Part.objects.filter(removed_at=None).values_list("area_name", flat=True)) == {"Rear"}


def test_without_a_word_the_page_shows_what_can_be_done_and_does_nothing(front_desk: Client, bike: Restoration) -> None:
    before = state(bike)
    answer = front_desk.post(address(bike), sent(bike))
    assert answer.status_code == 200
    assert answer.content.decode().count("checked") == 12
    assert state(bike) == before


def test_what_cannot_be_done_is_said_at_each_part_and_the_choice_stays(
    front_desk: Client, shop: Workshop, bike: Restoration
) -> None:
    odd = frame(bike, shop, name="Cover", finish=None, material="aluminium")
    before = state(bike)
    answer = front_desk.post(address(bike), sent(bike, do="set", agreed_finish=str(shop.green.pk)))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f'<a href="#tick-{odd.uid}">Cover</a>: Cover: there is no route' in page
    assert page.count('<li><a href="#tick-') == 1
    assert f'<option value="{shop.green.pk}" selected' in page
    assert state(bike) == before


def test_a_colleagues_change_is_said_and_the_next_time_it_is_done(front_desk: Client, bike: Restoration) -> None:
    old = sent(bike, do="set", condition="sound")
    change_part(part=bike.parts.all()[0], changes={"pieces": 5}, **WHO)
    answer = front_desk.post(address(bike), old)
    assert answer.status_code == 409
    assert not Part.objects.filter(condition="sound").exists()
    assert '<option value="sound" selected' in answer.content.decode()
    front_desk.post(address(bike), old | {"seen": answer.context["seen"]})
    assert Part.objects.filter(condition="sound").count() == 12


def test_empty_and_none_are_two_things(front_desk: Client, shop: Workshop, bike: Restoration) -> None:
    front_desk.post(address(bike), sent(bike, do="set", agreed_finish="", factory_finish="none"))
    assert set(Part.objects.values_list("agreed_finish", "factory_finish")) == {(shop.black.pk, None)}


@pytest.mark.parametrize(
    "said",
    [
        {"do": "set"},
        {"do": "set", "area_name": "   "},
        {"do": "set", "agreed_finish": "999999"},
        {"do": "step"},
        {"do": "step", "step-origin": "before"},
        {"do": "set", "condition": "sound", "part": []},
        {"do": "out", "part": ["nonsense"]},
    ],
)
def test_what_makes_no_sense_is_refused_in_words(front_desk: Client, bike: Restoration, said: dict[str, Any]) -> None:
    before = state(bike)
    answer = front_desk.post(address(bike), sent(bike) | said)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.content.decode()
    assert state(bike) == before


def test_what_they_were_already_is_no_change(front_desk: Client, bike: Restoration) -> None:
    page = front_desk.post(address(bike), sent(bike, do="set", condition="worn"), follow=True).content.decode()
    assert "Nothing changed" in page
    assert "/undo/" not in page


def test_a_step_by_the_hour_for_all(front_desk: Client, shop: Workshop, bike: Restoration) -> None:
    said = {"step-origin": "after", "step-buy": "Bush", "step-buy_source": "used"}
    front_desk.post(address(bike), sent(bike, do="step", **said))
    assert Step.objects.filter(buy="Bush", origin="after").count() == 12


def test_it_is_for_desk_and_manager(mechanic: Client, stranger: Client, bike: Restoration) -> None:
    for client in (mechanic, stranger):
        assert client.post(address(bike), sent(bike, do="out")).status_code in {302, 403}
    assert Part.objects.filter(removed_at=None).count() == 12


def test_a_part_added_by_script_comes_back_as_its_row_alone(front_desk: Client, bike: Restoration) -> None:
    said = {"name": "Stay", "area_name": "Rear", "pieces": "2"}
    answer = front_desk.post(f"/restorations/{bike.uid}/parts/", said, headers={"HX-Request": "true"})
    page = answer.content.decode()
    new = Part.objects.get(name="Stay")
    last = bike.parts.get(name="Bracket 11")
    assert answer.status_code == 200
    assert f'hx-swap-oob="beforeend:#area-{last.uid} .parts"' in page
    assert page.count('class="part-line"') == 1
    assert f'id="row-{new.uid}"' in page


def test_a_new_area_and_the_first_part_have_their_own_card(front_desk: Client, bike: Restoration) -> None:
    said = {"name": "Stay", "area_name": "Front", "pieces": "2"}
    page = front_desk.post(f"/restorations/{bike.uid}/parts/", said, headers={"HX-Request": "true"}).content.decode()
    assert 'hx-swap-oob="beforeend:#parts"' in page
    empty = restoration("Empty")
    page = front_desk.post(f"/restorations/{empty.uid}/parts/", said, headers={"HX-Request": "true"}).content.decode()
    assert '<div id="parts" class="stack" hx-swap-oob="innerHTML">' in page


def test_a_part_that_cannot_be_added_brings_its_form_back(front_desk: Client, bike: Restoration) -> None:
    said = {"name": "x" * 101, "pieces": "2"}
    page = front_desk.post(f"/restorations/{bike.uid}/parts/", said, headers={"HX-Request": "true"}).content.decode()
    assert 'id="another-form"' in page
    assert "field-wrong" in page
    assert "x" * 101 in page
    assert Part.objects.count() == 12
