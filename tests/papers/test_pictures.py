"""What holds for every picture, whatever it shows."""

import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pikepdf
import pytest
from django.utils import translation

from shop.papers import pdf
from shop.papers.pictures import PAPER, PHONE, calendar, cost_curve, figure, route_line, swings
from shop.papers.pictures.calendar_rows import Calendar, Row
from shop.papers.pictures.cost_curve import CostCurve
from shop.papers.pictures.route_line import VENDOR, RouteLine, Stop
from shop.papers.pictures.swings import Swing, Swings
from shop.papers.pictures.ways_back import WayBack
from tests.papers.seen import Seen

HOSTILE = "</text><script>alert('1')</script>\"&"
WIDTHS = [PHONE, PAPER]


@dataclass(frozen=True)
class Kind:
    name: str
    draw: Callable[[str, int], str]
    words: Callable[[], str]
    hatched: bool

    def __str__(self) -> str:
        return self.name


def kinds(label: str) -> list[Kind]:
    cost = CostCurve(
        points=((Decimal(100), Decimal(0)), (Decimal(200), Decimal(1))),
        expected=Decimal(150),
        price=Decimal(190),
        kept=Decimal(180),
        currency="GBP",
    )
    moved = Swings(
        figure=label, base=Decimal(5), unit="GBP", bars=(Swing(label=label, low=Decimal(1), high=Decimal(9)),)
    )
    row = Row(
        label=label,
        start=date(2026, 9, 7),
        finish=date(2026, 9, 30),
        held=((date(2026, 9, 10), date(2026, 9, 12)),),
        drives=True,
    )
    plan = Calendar(rows=(row,), closed=frozenset(), likely=date(2026, 9, 30), kept=date(2026, 10, 9))
    stop = Stop(name=label, kind=VENDOR, outside=label, then_waits=label, waits_on=(label,))
    route = RouteLine(part=label, stops=(stop, stop), ways_back=(WayBack(start=1, to=0, chance=Decimal("0.1")),))
    return [
        Kind(
            "cost curve",
            lambda ident, width: cost_curve.draw(cost, ident=ident, width=width),
            lambda: cost_curve.cost_curve_in_words(cost),
            True,
        ),
        Kind(
            "swings",
            lambda ident, width: swings.draw(moved, ident=ident, width=width),
            lambda: swings.swings_in_words(moved),
            True,
        ),
        Kind(
            "calendar",
            lambda ident, width: calendar.draw(plan, ident=ident, width=width),
            lambda: calendar.calendar_in_words(plan),
            True,
        ),
        Kind(
            "route line",
            lambda _ident, width: route_line.draw(route, width=width),
            lambda: route_line.route_in_words(route),
            False,
        ),
    ]


PLAIN = kinds("Petrol tank")
every_kind = pytest.mark.parametrize("kind", PLAIN, ids=str)
every_width = pytest.mark.parametrize("width", WIDTHS)


@every_kind
@every_width
def test_a_picture_has_a_name_and_says_in_words_what_it_shows(kind: Kind, width: int) -> None:
    picture = Seen(kind.draw("it", width))
    assert picture.title
    assert picture.words == kind.words()
    assert picture.width == width


@every_kind
@every_width
def test_nothing_needs_a_style_a_script_or_another_address(kind: Kind, width: int) -> None:
    assert not re.search(r"<style|style=|class=|href|<script| on\w+=", kind.draw("it", width))
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b", kind.draw("it", width)), "a colour of its own"


@pytest.mark.parametrize("number", range(1, 4))
@every_width
def test_words_of_people_are_text_and_nothing_else(number: int, width: int) -> None:
    kind = kinds(HOSTILE)[number]
    shown = kind.draw("it", width)
    assert "<script" not in shown
    assert HOSTILE in Seen(shown).words


@every_kind
@every_width
def test_the_same_values_make_the_same_picture(kind: Kind, width: int) -> None:
    assert kind.draw("it", width) == kind.draw("it", width)


@every_kind
def test_two_pictures_on_a_page_share_no_name(kind: Kind) -> None:
    page = figure.on_page(kind.draw, ident="one", words="x") + figure.on_page(kind.draw, ident="two", words="x")
    names = re.findall(r' id="([^"]+)"', page)
    assert len(names) == len(set(names)) == (4 if kind.hatched else 0)
    assert set(re.findall(r"url\(#([^)]+)\)", page)) == set(names)


@every_kind
@every_width
def test_writing_is_never_small(kind: Kind, width: int) -> None:
    sizes = {float(one.attrib["font-size"]) for one in Seen(kind.draw("it", width)).all("text")}
    # 286 pixels are left inside a card on a phone of 320; 11 pixels are the least we let anybody read.
    assert min(sizes) * min(1, 286 / width if width == PHONE else 1) >= 11


def test_a_figure_on_a_page_holds_both_drawings_and_the_words() -> None:
    kind = PLAIN[0]
    page = figure.on_page(kind.draw, ident="cost", words="Words & figures")
    assert f'width="{PHONE}"' in page
    assert f'width="{PAPER}"' in page
    assert '<figcaption><details class="small"><summary>In words</summary>Words &amp; figures</details>' in page


def test_a_figure_on_paper_holds_the_wide_drawing_only() -> None:
    page = figure.on_paper(PLAIN[0].draw, ident="cost", words="Words")
    assert page.count("<svg") == 1
    assert f'width="{PAPER}"' in page


def test_other_languages_write_their_own_numbers() -> None:
    with translation.override("de"):
        assert "190\N{NO-BREAK SPACE}£" in PLAIN[0].draw("it", PHONE)


# --- on paper ---


def printed(*drawn: str) -> bytes:
    style = f"<style>{pdf.FONT_FACES} body {{ font-family: Inter }}</style>"
    page = f'<!doctype html><html lang="en"><head><title>Pictures</title>{style}</head><body>{"".join(drawn)}</body></html>'
    return pdf.render(page, assets=pdf.fonts())


def test_pictures_print_in_the_house_s_letters_and_with_their_names() -> None:
    made = printed(*(kind.draw(f"p{number}", PAPER) for number, kind in enumerate(PLAIN)))
    with pikepdf.open(io.BytesIO(made)) as document:
        things = [thing for thing in document.objects if isinstance(thing, pikepdf.Dictionary)]
        faces = {str(thing.BaseFont) for thing in things if thing.get("/Type") == "/Font" and "/BaseFont" in thing}
        names = {str(thing.Alt) for thing in things if thing.get("/S") == "/Figure"}
        # Source: ISO 32000-1, 8.7.3: a tiling pattern is a stream of pattern type 1.
        streams = [thing for thing in document.objects if isinstance(thing, pikepdf.Stream)]
        patterns = [thing for thing in streams if thing.get("/PatternType") == 1]
    assert faces
    assert all("Inter" in face for face in faces)
    assert names == {Seen(kind.draw("it", PAPER)).title for kind in PLAIN}
    assert len(patterns) >= 3
