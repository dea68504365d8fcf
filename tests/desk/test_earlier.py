"""Beginning a bike like an earlier one: found by typing, chosen, and begun, with scripting and without."""

import pytest
from django.test import Client

from shop.restorations.models import Part, Restoration
from tests.workshop import frame, restoration, workshop

pytestmark = pytest.mark.django_db
NEW = {"name": "Bo Marsh", "maker": "Heron", "model": "250", "begun_on": "2026-03-02", "parts_from": "earlier"}


@pytest.fixture
def row() -> Restoration:
    row = restoration()
    frame(row, workshop(), deviation="matt")
    return row


def begin(client: Client, **fields: str) -> int:
    return client.post("/restorations/begin/", NEW | fields).status_code


def test_an_earlier_bike_lends_its_parts(front_desk: Client, row: Restoration) -> None:
    assert begin(front_desk, earlier=str(row.uid)) == 302
    new = Restoration.objects.exclude(pk=row.pk).get()
    assert [(part.name, part.steps.count()) for part in new.parts.all()] == [("Frame", 2)]
    assert new.machine != row.machine


@pytest.mark.parametrize("earlier", ["", "nothing", "00000000-0000-0000-0000-000000000000"])
def test_without_a_bike_nothing_is_begun_and_it_says_so(front_desk: Client, row: Restoration, earlier: str) -> None:
    answer = front_desk.post("/restorations/begin/", NEW | {"earlier": earlier})
    assert answer.status_code == 422
    assert "earlier-errors" in answer.content.decode()
    assert "Bo Marsh" in answer.content.decode()
    assert Restoration.objects.count() == 1


def test_another_source_leaves_the_chosen_bike_alone(front_desk: Client, row: Restoration) -> None:
    assert begin(front_desk, earlier=str(row.uid), parts_from="empty") == 302
    assert Part.objects.count() == 1


def test_what_is_typed_is_found_with_how_many_parts(front_desk: Client, row: Restoration) -> None:
    found = front_desk.get("/restorations/earlier/", {"earlier_words": "h1234"}).content.decode()
    assert str(row.uid) in found
    assert "1 part<" in found
    assert str(row.uid) not in front_desk.get("/restorations/earlier/", {"earlier_words": "gull"}).content.decode()


def test_without_scripting_the_search_keeps_what_was_typed_and_finds_no_fault(
    front_desk: Client, row: Restoration
) -> None:
    sent = {"name": "Bo Marsh", "year": "x", "earlier_words": "heron", "find": "earlier"}
    answer = front_desk.post("/restorations/begin/", sent)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert str(row.uid) in page
    assert 'value="Bo Marsh"' in page
    assert "field-wrong" not in page
    assert Restoration.objects.count() == 1


def test_a_chosen_bike_stays_on_the_list_and_chosen(front_desk: Client, row: Restoration) -> None:
    answer = front_desk.post(
        "/restorations/begin/", NEW | {"maker": "", "earlier": str(row.uid), "earlier_words": "gull"}
    )
    assert answer.status_code == 422
    assert f'value="{row.uid}" checked' in answer.content.decode()
    begun_like = front_desk.get("/restorations/begin/", {"earlier": str(row.uid)}).content.decode()
    assert f'value="{row.uid}" checked' in begun_like


def test_the_search_is_for_the_desk(mechanic: Client, stranger: Client, row: Restoration) -> None:
    for client in (mechanic, stranger):
        answer = client.get("/restorations/earlier/", {"earlier_words": "heron"})
        assert str(row.uid) not in answer.content.decode()
