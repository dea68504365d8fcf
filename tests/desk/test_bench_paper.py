"""Shelves, the monthly count, and paper for the bench, as the desk has them."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop.floor import custody
from shop.floor.models import Count, Shelf, Tag
from shop.methods.models import Consumable
from tests.floor.bench import Bench, bench
from tests.workshop import WHO, frame

pytestmark = pytest.mark.django_db

SHELVES, MATERIAL = "/workshop/shelves/", "/workshop/material/"


@pytest.fixture
def shop() -> Bench:
    return bench()


def test_a_shelf_is_added_and_renamed_and_a_name_is_there_once(front_desk: Client) -> None:
    front_desk.post(SHELVES, {"name": "Shelf A"})
    front_desk.post(SHELVES, {"name": "Shelf B"})
    twice = front_desk.post(SHELVES, {"name": "Shelf A"})
    assert twice.status_code == 422
    assert 'value="Shelf A"' in twice.content.decode()
    here = f"{SHELVES}{Shelf.objects.get(name='Shelf A').uid}/"
    assert front_desk.post(here, {"name": "Shelf B"}).status_code == 422
    assert front_desk.post(here, {"name": "By the oven"}).status_code == 302
    assert sorted(Shelf.objects.values_list("name", flat=True)) == ["By the oven", "Shelf B"]


def test_a_mechanic_neither_counts_nor_keeps_shelves(mechanic: Client, shop: Bench) -> None:
    pages = (SHELVES, MATERIAL, f"/restorations/{shop.bike.uid}/cards/", f"/cards/parts/{shop.part.uid}/")
    assert [mechanic.get(page).status_code for page in pages] == [403] * 4


def counted(item: Consumable, **fields: str) -> dict[str, str]:
    given = {f"{item.uid}-{name}": value for name, value in fields.items()}
    return {"day": timezone.localdate().isoformat(), **given}


def test_what_is_counted_is_kept_and_what_is_left_empty_is_not(front_desk: Client, shop: Bench) -> None:
    Consumable.objects.create(name="Stripper", unit="l")
    answer = front_desk.post(MATERIAL, counted(shop.shop.paint, counted="2,5", came_in="1"))
    assert answer.status_code == 302
    row = Count.objects.get()
    assert (row.consumable, row.counted, row.came_in) == (shop.shop.paint, Decimal("2.5"), Decimal(1))
    assert "2.5" in front_desk.get(MATERIAL).content.decode()


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({}, "Fill in at least one line"),
        ({"counted": "much"}, "Give a number in digits"),
        ({"came_in": "1"}, "Count it as well"),
        ({"counted": "-1"}, "Give 0 or more"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_lost(
    front_desk: Client, shop: Bench, fields: dict[str, str], said: str
) -> None:
    answer = front_desk.post(MATERIAL, counted(shop.shop.paint, **fields))
    assert answer.status_code == 422
    html = answer.content.decode()
    assert said in html
    assert all(f'value="{typed}"' in html for typed in fields.values())
    assert not Count.objects.exists()


def test_the_page_begins_with_today_as_a_day_box_reads_it(front_desk: Client, shop: Bench) -> None:
    assert f'value="{timezone.localdate().isoformat()}"' in front_desk.get(MATERIAL).content.decode()


def test_nobody_counts_on_a_day_to_come(front_desk: Client, shop: Bench) -> None:
    answer = front_desk.post(MATERIAL, counted(shop.shop.paint, counted="2") | {"day": "2999-01-01"})
    assert answer.status_code == 422
    assert "day to come" in answer.content.decode()


def test_the_page_takes_as_many_queries_for_one_material_as_for_many(front_desk: Client, shop: Bench) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as found:
            assert front_desk.get(MATERIAL).status_code == 200
        return len(found)

    front_desk.post(MATERIAL, counted(shop.shop.paint, counted="2"))
    one = asked()
    for number in range(6):
        item = Consumable.objects.create(name=f"Lacquer {number}", unit="l")
        front_desk.post(MATERIAL, counted(item, counted="2"))
    assert asked() == one


def test_tags_are_made_and_printed_and_cards_of_parts_and_tasks(front_desk: Client, shop: Bench) -> None:
    page = f"/restorations/{shop.bike.uid}/cards/"
    assert "1 part has none yet" in front_desk.get(page).content.decode()
    front_desk.post(f"{page}tags/")
    tag = Tag.objects.get()
    html = front_desk.get(page).content.decode()
    papers = (f"{page}tags/print/", f"/cards/parts/{shop.part.uid}/", f"/cards/tasks/{shop.task(shop.blast).uid}/")
    assert all(f'href="{paper}"' in html for paper in papers)
    for paper in papers:
        assert front_desk.get(paper).content.startswith(b"%PDF-"), paper
    custody.end_tag(tag=tag, **WHO)
    assert front_desk.get(f"{page}tags/print/").headers["Location"] == page


def test_the_page_of_cards_takes_as_many_queries_for_one_part_as_for_many(front_desk: Client, shop: Bench) -> None:
    def asked() -> Any:
        custody.make_tags(restoration=shop.bike, **WHO)
        with CaptureQueriesContext(connection) as found:
            front_desk.get(f"/restorations/{shop.bike.uid}/cards/")
        return len(found)

    one = asked()
    for number in range(5):
        frame(shop.bike, shop.shop, name=f"Bracket {number}")
    assert asked() == one
