"""Three strips of one scale: agreed, due, received."""

from decimal import Decimal

import pytest
from django.utils import translation

from shop.papers.pictures import PAPER, PHONE
from shop.papers.pictures.paying import Paying, draw, in_words
from tests.papers.seen import Seen

D = Decimal
WIDTHS = [PHONE, PAPER]


@pytest.fixture(autouse=True)
def english() -> object:
    with translation.override("en-gb"):
        yield


def paying(agreed: str, due: str, received: str, late: str = "0") -> Paying:
    return Paying(agreed=D(agreed), due=D(due), received=D(received), late=D(late), currency="EUR")


def seen(of: Paying, width: int = PHONE) -> Seen:
    return Seen(draw(of, ident="paying", width=width))


def lengths(picture: Seen) -> list[float]:
    return [float(box["width"]) for box in picture.boxes]


@pytest.mark.parametrize("width", WIDTHS)
def test_strips_are_as_long_as_what_they_stand_for(width: int) -> None:
    """By hand: 600 and 300 of 1200 are a half and a quarter of the whole strip, which leaves 4 at either end."""
    whole = width - 8
    assert lengths(seen(paying("1200", "600", "300"), width)) == pytest.approx([whole, whole / 2, whole / 4], abs=0.02)


def test_what_came_in_beyond_what_is_agreed_is_the_longest() -> None:
    agreed, due, received = lengths(seen(paying("900", "900", "1000")))
    assert agreed == due == pytest.approx(received * 0.9, abs=0.02)


def test_nothing_and_less_than_nothing_have_no_strip() -> None:
    assert len(lengths(seen(paying("100", "0", "0")))) == 1
    assert lengths(seen(paying("-50", "0", "0"))) == []


def test_what_is_late_is_dashed_and_said() -> None:
    late, fine = seen(paying("1000", "600", "200", "400")), seen(paying("1000", "600", "200"))
    assert late.find("Received, €400.00 is late")
    assert in_words(paying("1000", "600", "200", "400")).endswith("Received: €200.00. €400.00 is late.")
    assert "late" not in in_words(paying("1000", "600", "200"))
    assert len(late.paths) == len(fine.paths) + 3


@pytest.mark.parametrize("width", WIDTHS)
def test_long_figures_stay_on_the_paper(width: int) -> None:
    picture = seen(paying("123456789.01", "98765432.10", "12345678.90", "86419753.20"), width)
    assert picture.outside() == []
    assert picture.overlaps() == []
