from datetime import date
from decimal import Decimal

import pytest
from django.utils import translation

from shop.papers.pictures import PAPER, PHONE
from shop.papers.pictures.price_line import PriceLine, draw, in_words
from tests.papers.seen import Seen

WIDTHS = [PHONE, PAPER]
D = Decimal
FIRST, SECOND, LAST = date(2026, 1, 1), date(2026, 4, 11), date(2026, 7, 20)  # a hundred days apart


@pytest.fixture(autouse=True)
def english() -> object:
    with translation.override("en-gb"):
        yield


def line(*notes: tuple[date, Decimal], today: date = LAST, figure: str = "Price of a pack") -> PriceLine:
    return PriceLine(figure=figure, notes=notes, today=today, written=lambda value: f"€{value}")


THREE = line((FIRST, D(10)), (SECOND, D(20)), (LAST, D(15)))


def seen(shown: PriceLine, width: int = PHONE) -> Seen:
    return Seen(draw(shown, width=width))


def corners(picture: Seen) -> list[tuple[float, float]]:
    (curve,) = picture.all("polyline")
    return [(float(x), float(y)) for x, y in (point.split(",") for point in curve.attrib["points"].split())]


@pytest.mark.parametrize("width", WIDTHS)
def test_a_price_stays_level_until_the_day_of_the_next(width: int) -> None:
    found = corners(seen(THREE, width))
    xs, ys = [x for x, _y in found], [y for _x, y in found]
    assert xs == sorted(xs)
    # level, up, level, down, level to the edge
    assert ys[0] == ys[1] > ys[2] == ys[3] < ys[4] == ys[5]
    # 10 to 20 is twice as far as 20 to 15, and a hundred days are as wide as the next hundred
    assert ys[1] - ys[2] == pytest.approx(2 * (ys[4] - ys[3]))
    assert xs[2] - xs[0] == pytest.approx(xs[4] - xs[2], abs=0.02)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("many", [1, 3, 40])
def test_what_is_written_stays_on_the_paper_and_apart(width: int, many: int) -> None:
    notes = [(date.fromordinal(FIRST.toordinal() + 7 * n), D(1000 + n * 37 % 190)) for n in range(many)]
    picture = seen(line(*notes, today=notes[-1][0]), width)
    rooms = [one.room for one in picture.written]
    for number, room in enumerate(rooms):
        assert room.left >= 0
        assert room.right <= picture.width + 1
        assert room.top >= 0
        assert room.bottom <= picture.height + 1
        assert not any(room.meets(other) for other in rooms[number + 1 :])
    assert any(one.words == f"€{notes[-1][1]}" for one in picture.written)  # the newest figure is always there


def test_a_price_that_never_changed_lies_in_the_middle() -> None:
    found = corners(seen(line((FIRST, D(10)))))
    assert found[0][1] == found[-1][1]
    assert found[0][0] < found[-1][0]


def test_a_price_still_to_come_lies_beyond_today() -> None:
    picture = seen(line((FIRST, D(10)), (LAST, D(15)), today=SECOND))
    today = picture.find("today")
    step = corners(picture)[1][0]
    assert today.room.right < step


def test_the_words_say_every_note() -> None:
    assert in_words(THREE) == "Price of a pack: €10 from 1 Jan 2026; €20 from 11 Apr 2026; €15 from 20 Jul 2026."
    picture = seen(THREE)
    assert (picture.title, picture.words) == ("Price of a pack over time", in_words(THREE))


@pytest.mark.parametrize("notes", [(), ((SECOND, D(1)), (FIRST, D(2))), ((FIRST, D(1)), (FIRST, D(2)))])
def test_notes_out_of_order_are_no_line(notes: tuple[tuple[date, Decimal], ...]) -> None:
    with pytest.raises(ValueError, match="each later than the one before"):
        line(*notes)
