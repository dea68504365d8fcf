import re
from xml.etree import ElementTree

import pytest

from shop.papers import drawings

HOSTILE = "</text><script>alert('1')</script>\"&"


def sample(words: str = "blast → coat") -> str:
    return drawings.picture(
        drawings.text(4, 20, words, bold=True),
        drawings.line(0, 30, 100.5, 30, dashes="4 2"),
        drawings.box(0, 0, 10, 10, radius=2),
        drawings.dot(5, 5, 1),
        drawings.curve([(0, 0), (1.25, 2)]),
        width=120,
        height=40,
        title=words,
    )


def test_a_picture_is_well_formed_and_named_by_its_title() -> None:
    root = ElementTree.fromstring(sample())
    tags = [child.tag.rpartition("}")[2] for child in root]
    assert tags == ["title", "text", "line", "rect", "circle", "polyline"]
    assert root[0].text == "blast → coat"
    assert root.get("role") == "img"
    assert root.get("viewBox") == "0 0 120 40"


def test_words_are_text_and_nothing_else() -> None:
    root = ElementTree.fromstring(sample(HOSTILE))
    assert [element.text for element in root if element.text] == [HOSTILE, HOSTILE]
    assert "<script" not in sample(HOSTILE)


def test_a_hostile_attribute_stays_inside_its_quotes() -> None:
    shown = drawings.line(0, 0, 1, 1, stroke='red" onload="alert(1)')
    assert ElementTree.fromstring(shown).get("stroke") == 'red" onload="alert(1)'


def test_nothing_needs_a_style() -> None:
    assert not re.search(r"<style|style=|class=|href", sample())


def test_numbers_are_short_and_never_in_powers_of_ten() -> None:
    shown = drawings.line(0.1 + 0.2, 1e6, -0.5, 100.0)
    assert 'x1="0.3" y1="1000000" x2="-0.5" y2="100"' in shown


@pytest.mark.parametrize("wrong", [float("nan"), float("inf")])
def test_a_point_nowhere_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="has no place"):
        drawings.dot(wrong, 0, 1)


def test_a_picture_without_a_title_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a title"):
        drawings.picture(width=1, height=1, title=" ")


def test_words_about_a_picture_stand_behind_its_title() -> None:
    root = ElementTree.fromstring(drawings.picture(width=1, height=1, title="Route", words="Blast, then coat."))
    assert [child.tag.rpartition("}")[2] for child in root] == ["title", "desc"]
    assert root[1].text == "Blast, then coat."


def test_a_picture_brings_its_face_for_a_renderer_that_hands_none_down() -> None:
    assert str(ElementTree.fromstring(sample()).get("font-family")).startswith("Inter")


def test_a_path_goes_where_its_pieces_say() -> None:
    shown = drawings.path(drawings.move(0, 1) + drawings.to(2.5, 1) + drawings.bend(3, 1, 3, 2), width=2, faint=0.5)
    path = ElementTree.fromstring(shown)
    assert path.get("d") == "M0,1L2.5,1Q3,1 3,2"
    assert (path.get("stroke-width"), path.get("opacity"), path.get("fill")) == ("2", "0.5", "none")


@pytest.mark.parametrize("leaning", ["left", "right"])
def test_hatching_is_a_pattern_that_shapes_can_name(leaning: str) -> None:
    shown = drawings.picture(
        drawings.hatching("lost", leaning=leaning),
        drawings.box(0, 0, 9, 9, fill=drawings.hatched("lost")),
        width=9,
        height=9,
        title="x",
    )
    root = ElementTree.fromstring(shown)
    pattern = root.find(".//{*}pattern")
    box = root.find("{*}rect")
    assert pattern is not None
    assert box is not None
    assert box.get("fill") == f"url(#{pattern.get('id')})"
    # The property is spelled with a capital in SVG 1.1, 13.3.
    assert pattern.get("patternUnits") == "userSpaceOnUse"


def test_nothing_lies_at_minus_zero() -> None:
    assert 'x1="0"' in drawings.line(-0.001, 0, 1, 1)
