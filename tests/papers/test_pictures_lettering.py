"""The widths are checked against the vendored font itself."""

import string
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont

from shop.papers.pictures.lettering import ELLIPSIS, fit, room_of, width_of, wrap

LETTERS = string.ascii_letters + string.digits + string.punctuation + " ·…£€−×éüßåøñÆœ"
SAYINGS = ["Petrol tank", "Kept 4 in 5: £12,160", "Straighten", "1 in 12", "Mudguard, front", "Blaß & Söhne", "WWW mmm"]


@cache
def font(weight: int) -> Any:
    file = Path(settings.BASE_DIR) / "static" / "fonts" / "inter-latin.woff2"
    return instantiateVariableFont(TTFont(file), {"wght": weight})


def measured(words: str, weight: int) -> float:
    face = font(weight)
    names, metrics = face.getBestCmap(), face["hmtx"].metrics
    return sum(metrics[names[ord(letter)]][0] for letter in words) / face["head"].unitsPerEm


@pytest.mark.parametrize("bold", [False, True])
def test_no_letter_of_the_font_is_wider_than_reckoned(bold: bool) -> None:
    weight = 600 if bold else 400
    wider = [letter for letter in LETTERS if measured(letter, weight) > width_of(letter, size=1, bold=bold)]
    assert wider == []


@pytest.mark.parametrize("words", SAYINGS)
def test_words_are_reckoned_close_to_what_the_font_takes(words: str) -> None:
    assert measured(words, 400) <= width_of(words, size=1) <= 1.15 * measured(words, 400)


def test_what_fits_is_left_alone_and_what_does_not_ends_in_an_ellipsis() -> None:
    assert fit("Blast", 100) == "Blast"
    short = fit("Decorative chrome of the silencer", 100)
    assert short.endswith(ELLIPSIS)
    assert width_of(short) <= 100


def test_lines_hold_whole_words_where_they_can() -> None:
    assert wrap("Fill and rub down", 90, lines=3) == ["Fill and rub", "down"]
    assert wrap("", 90, lines=3) == []


def test_a_long_word_is_broken_rather_than_lost() -> None:
    lines = wrap("Einfahrgeschwindigkeit", 92, lines=3)
    assert all(width_of(line) <= 92 for line in lines)
    assert "".join(line.removesuffix("-") for line in lines) == "Einfahrgeschwindigkeit"


def test_lines_never_reach_over_their_room() -> None:
    for words in (*SAYINGS, "a" * 80, "one " * 40):
        for lines in (1, 2, 3):
            written = wrap(words, 60, lines=lines)
            assert len(written) <= lines
            assert all(width_of(line) <= 60 for line in written)


def test_writing_takes_its_room_to_the_side_of_its_anchor() -> None:
    assert room_of("tank", 50, 20).left == 50
    assert room_of("tank", 50, 20, anchor="end").right == 50
    middle = room_of("tank", 50, 20, anchor="middle")
    assert middle.right - 50 == pytest.approx(50 - middle.left)
