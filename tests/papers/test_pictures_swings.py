from decimal import Decimal

import pytest
from django.utils import translation

from shop.papers.pictures import PAPER, PHONE, sums
from shop.papers.pictures.swings import MOST, Swing, Swings, draw, swings_in_words
from tests.papers.seen import Seen

WIDTHS = [PHONE, PAPER]


def swing(label: str, low: int, high: int) -> Swing:
    return Swing(label=label, low=Decimal(low), high=Decimal(high))


MARGIN = Swings(
    figure="the margin",
    base=Decimal(2100),
    unit="GBP",
    bars=(
        swing("Price of the carburettor", 1650, 2350),
        swing("Hours on the tank and its lining", 900, 2800),
        swing("Chrome comes back once more", 1200, 2100),
    ),
)


@pytest.fixture(autouse=True)
def english() -> object:
    with translation.override("en-gb"):
        yield


def seen(swings: Swings, width: int = PHONE) -> Seen:
    return Seen(draw(swings, ident="swings", width=width))


def widths(picture: Seen, fill: str) -> list[float]:
    return [float(box["width"]) for box in picture.boxes if box["fill"] == fill]


@pytest.mark.parametrize("width", WIDTHS)
def test_bars_are_as_long_as_what_they_move_and_the_longest_is_on_top(width: int) -> None:
    picture = seen(MARGIN, width)
    # 1 £ of the figure is the same length everywhere: 2100 − 900, 2100 − 1200, 2100 − 1650 under it …
    under, over = widths(picture, "currentColor"), widths(picture, "url(#swings-over)")
    scale = under[0] / 1200
    assert under == pytest.approx([1200 * scale, 900 * scale, 450 * scale], abs=0.02)
    # … and 2800 − 2100, 2350 − 2100 over it.
    assert over == pytest.approx([700 * scale, 250 * scale], abs=0.02)
    tops = [picture.find(words).y for words in ("Hours on", "Chrome comes", "Price of")]
    assert tops == sorted(tops)


@pytest.mark.parametrize("width", WIDTHS)
def test_bars_of_both_kinds_meet_at_the_figure_as_it_stands(width: int) -> None:
    picture = seen(MARGIN, width)
    base = {x for x, _top, _bottom in picture.uprights}
    assert len(base) == 1
    for box in picture.boxes:
        left, right = float(box["x"]), float(box["x"]) + float(box["width"])
        assert min(abs(left - min(base)), abs(right - min(base))) < 0.02


def test_both_ends_of_every_bar_are_written_at_it() -> None:
    picture = seen(MARGIN)
    for words in ("£900", "£2,800", "£1,200", "£1,650", "£2,350"):
        assert picture.find(words)
    assert picture.find("as it stands: £2,100").bold


def test_low_and_high_may_come_in_either_order() -> None:
    turned = Swings(figure="x", base=Decimal(0), unit="GBP", bars=(swing("a", 500, -500),))
    straight = Swings(figure="x", base=Decimal(0), unit="GBP", bars=(swing("a", -500, 500),))
    assert draw(turned, ident="i") == draw(straight, ident="i")


def test_words_say_it_longest_first() -> None:
    assert swings_in_words(MARGIN) == (
        "The margin stands at £2,100. What moves it, most first: Hours on the tank and its lining: £900 to £2,800; "
        "Chrome comes back once more: £1,200 to £2,100; Price of the carburettor: £1,650 to £2,350."
    )
    assert seen(MARGIN).words == swings_in_words(MARGIN)
    assert seen(MARGIN).title == "What moves the margin most"


def test_days_are_said_as_days() -> None:
    late = Swings(figure="the ready day", base=Decimal(0), unit=sums.DAYS_OFF, bars=(swing("Chrome", -10, 35),))
    assert seen(late).find("10 days sooner")
    assert seen(late).find("35 days later")


def test_no_more_bars_than_can_be_read_and_the_rest_is_counted() -> None:
    many = Swings(figure="x", base=Decimal(0), unit="GBP", bars=tuple(swing(f"bar {n}", 0, n) for n in range(1, 14)))
    picture = seen(many)
    assert len(picture.boxes) == MOST
    assert picture.find("3 smaller ones are left out")
    assert "bar 13" in picture.words
    assert "bar 3:" not in picture.words


STRANGE = [
    Swings(figure="x", base=Decimal(0), unit="GBP", bars=()),
    Swings(figure="x", base=Decimal(5), unit="GBP", bars=(swing("nothing", 5, 5),)),
    Swings(
        figure="x", base=Decimal(5), unit="GBP", bars=(swing("both over", 500, 900), swing("both under", -900, -100))
    ),
    Swings(figure="x" * 300, base=Decimal(10**11), unit="JPY", bars=(swing("long " * 40, 0, 10**12),)),
    Swings(figure="x", base=Decimal(0), unit="GBP", bars=tuple(swing(f"bar {n}", 0, n) for n in range(14))),
]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("swings", [MARGIN, *STRANGE])
def test_everything_stays_in_the_frame_and_can_be_read(swings: Swings, width: int) -> None:
    picture = seen(swings, width)
    assert picture.outside() == []
    assert picture.overlaps() == []
    assert picture.struck() == []


def test_a_bar_on_one_side_only_is_drawn_from_its_low_to_its_high() -> None:
    picture = seen(STRANGE[2])
    (over,), (under,) = widths(picture, "url(#swings-over)"), widths(picture, "currentColor")
    assert over / under == pytest.approx(400 / 800, abs=0.001)


def test_nothing_that_moves_it_is_said() -> None:
    assert seen(STRANGE[0]).find("Nothing is known")
    assert "Nothing is known" in swings_in_words(STRANGE[0])
