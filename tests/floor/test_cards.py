"""Cards and tags on paper: what stands on them, where their codes lead, and that they are made in the bounded child."""

import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop.floor import cards, custody
from shop.floor.tag_codes import spaced
from shop.papers.pdf import RenderFailed
from shop.people.roles import ROLE_MECHANIC
from shop.restorations.models import Part
from shop.routes.finishing import finish_step
from tests.floor.bench import Bench, agree, bench, check
from tests.floor.test_doing_views import ann, joe, role, tablet  # noqa: F401  (fixtures)
from tests.workshop import NOW, WHO, frame

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Bench:
    made = bench(side="left", name="Engine plate")
    role(made.joe, ROLE_MECHANIC)
    return made


def text_of(content: bytes, tmp_path: Path) -> str:
    (tmp_path / "paper.pdf").write_bytes(content)
    told = subprocess.run(["pdftotext", "-layout", str(tmp_path / "paper.pdf"), "-"], capture_output=True, check=True)
    return " ".join(told.stdout.decode().split())


def test_a_route_card_says_steps_checks_cautions_and_the_agreed_finish(shop: Bench) -> None:
    type(shop.shop.blast).objects.filter(pk=shop.shop.blast.pk).update(caution="Air-fed breathing.")
    check(shop.shop.blast, "Threads plugged")
    check(shop.shop.spray, "Thickness", kind="measure", unit="µm", low=60, high=90)
    finish_step(step=shop.blast, who="joe", now=NOW)
    card = cards.part_card(Part.objects.get(pk=shop.part.pk), now=NOW)
    assert [(row.number, str(row.step), row.minutes.replace("\xa0", " ")) for row in card.rows] == [
        (1, "Blast", "42 min"),  # 12 + 0.5 × 60 dm²
        (2, "Spray", "54 min"),  # 30 + 0.4 × 60 dm²
        (3, "Fit", "15 min"),
    ]
    assert [row.done is not None for row in card.rows] == [True, False, False]
    assert card.cautions == ["Air-fed breathing."]
    html = cards.html("floor/paper_part.html", {"card": card})
    for words in ("Agreed finish: Black", "Threads plugged", "(60 to 90 µm)", "left", "Route: Engine plate"):
        assert words in html


def test_a_task_card_has_a_row_for_each_part_and_says_where_it_is(shop: Bench) -> None:
    frame(shop.bike, shop.shop, name="Fork")
    agree(shop.bike)
    tag = custody.make_tags(restoration=shop.bike, **WHO)[0]
    custody.move(tag=tag, at_whom="Crate 1", person=shop.joe, now=NOW)
    sheet = cards.task_sheet(shop.task(shop.blast), now=NOW)
    assert [str(row.part) for row in sheet.rows] == ["Engine plate", "Fork"]
    html = cards.html("floor/paper_task.html", {"sheet": sheet})
    assert re.search(rf"<b>{spaced(tag.code)}</b> Crate 1", html)


def test_nothing_of_the_customer_and_no_money_stands_on_paper(shop: Bench) -> None:
    html = cards.html("floor/paper_part.html", {"card": cards.part_card(shop.part, now=NOW)})
    html += cards.html("floor/paper_task.html", {"sheet": cards.task_sheet(shop.task(shop.blast), now=NOW)})
    assert "Fenwick" not in html
    assert not re.search(r"[€£$]", html)


def test_the_code_leads_where_it_says_and_survives_grease() -> None:
    """ISO/IEC 18004: level Q restores about a quarter; the quiet zone is four modules wide."""
    import segno

    address = "http://192.168.178.20:8000/floor/t/224463/"
    made = segno.make(address, error="q", micro=False)
    assert made.error == "Q"
    size = made.symbol_size(scale=4, border=4)
    assert f'width="{size[0]}"'.encode() in cards.square_code(address)


def test_a_card_is_a_pdf_with_one_code(shop: Bench, joe: Client, tmp_path: Path) -> None:  # noqa: F811
    answer = joe.get(f"/floor/parts/{shop.part.uid}/card/")
    assert answer.headers["Content-Type"] == "application/pdf"
    assert "attachment" in answer.headers["Content-Disposition"]
    said = text_of(answer.content, tmp_path)
    assert "Engine plate" in said
    assert "Page 1 / 1" in said


def test_tags_of_a_bike_stand_ten_on_a_sheet(shop: Bench, joe: Client, tmp_path: Path) -> None:  # noqa: F811
    for number in range(10):
        frame(shop.bike, shop.shop, name=f"Bracket {number}")
    made = custody.make_tags(restoration=shop.bike, **WHO)
    answer = joe.get(f"/floor/restorations/{shop.bike.uid}/tags/print/")
    said = text_of(answer.content, tmp_path)
    assert all(spaced(tag.code) in said for tag in made)
    pages = subprocess.run(["pdfinfo", str(tmp_path / "paper.pdf")], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages:\s+2\b", pages)


def test_without_tags_nothing_is_printed_and_the_page_says_so(shop: Bench, joe: Client) -> None:  # noqa: F811
    answer = joe.get(f"/floor/restorations/{shop.bike.uid}/tags/print/", follow=True)
    assert "There is no tag to print" in answer.content.decode()


def test_paper_that_cannot_be_made_leads_back_with_a_word(
    shop: Bench,
    joe: Client,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fails(*_given: Any, **_more: Any) -> bytes:
        raise RenderFailed("time")

    monkeypatch.setattr("shop.papers.pdf.render", fails)
    answer = joe.get(f"/floor/tasks/{shop.task(shop.blast).uid}/card/", follow=True)
    assert "could not be made just now" in answer.content.decode()


def test_a_card_takes_as_many_queries_for_two_parts_as_for_seven(shop: Bench) -> None:
    counts = []
    for more in (1, 5):
        for number in range(more):
            frame(shop.bike, shop.shop, name=f"Bracket {more}.{number}")
        agree(shop.bike)
        custody.make_tags(restoration=shop.bike, **WHO)
        task = shop.task(shop.blast)
        with CaptureQueriesContext(connection) as asked:
            assert len(cards.task_sheet(task, now=NOW).rows) == sum((1, 1, 5)[: len(counts) + 2])
        counts.append(len(asked))
    assert counts[0] == counts[1]
