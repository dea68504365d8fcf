from dataclasses import replace
from decimal import Decimal

import numpy
import pytest
from django.utils import translation

from shop.papers.pictures import PAPER, PHONE
from shop.papers.pictures.cost_curve import CostCurve, cost_curve_in_words, draw
from tests.papers.seen import Seen, area, points

WIDTHS = [PHONE, PAPER]
# Every cost from 10,000 to 12,000 is as likely as another: a uniform distribution, whose figures a textbook gives.
UNIFORM = CostCurve(
    points=tuple((Decimal(10000 + 100 * step), Decimal(step) / 20) for step in range(21)),
    expected=Decimal(11000),
    price=Decimal(11500),
    kept=Decimal(11600),
    currency="GBP",
)


@pytest.fixture(autouse=True)
def english() -> object:
    with translation.override("en-gb"):
        yield


def seen(curve: CostCurve, width: int = PHONE) -> Seen:
    return Seen(draw(curve, ident="cost", width=width))


def line(picture: Seen) -> list[tuple[float, float]]:
    return points(picture.all("polyline")[0].attrib["points"])


def posts(picture: Seen) -> dict[str, float]:
    """The x of the post that stands beside each piece of writing under the picture."""
    found = {}
    for name in ("price", "expected cost", "kept"):
        written = picture.find(name)
        near = [x for x, _top, bottom in picture.uprights if bottom == written.y]
        (found[name],) = near
    return found


@pytest.mark.parametrize("width", WIDTHS)
def test_posts_stand_where_their_costs_are(width: int) -> None:
    picture = seen(UNIFORM, width)
    (left, _y1), (right, _y2) = line(picture)[0], line(picture)[-1]
    for name, cost in (("price", 11500), ("expected cost", 11000), ("kept", 11600)):
        assert posts(picture)[name] == pytest.approx(numpy.interp(cost, [10000, 12000], [left, right]), abs=0.02)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_curve_is_as_high_as_the_chance(width: int) -> None:
    way = line(seen(UNIFORM, width))
    ground, top = way[0][1], way[-1][1]
    for step, (_x, y) in enumerate(way):
        assert y == pytest.approx(ground + (top - ground) * step / 20, abs=0.02)


def hatch(picture: Seen) -> list[tuple[float, float]]:
    (shape,) = [one for one in picture.all("path") if one.attrib["fill"] == "url(#cost-lost)"]
    return points(shape.attrib["d"])


@pytest.mark.parametrize("width", WIDTHS)
def test_the_hatched_part_is_the_average_loss_and_as_high_as_the_chance_of_it(width: int) -> None:
    picture = seen(UNIFORM, width)
    corners = hatch(picture)
    way = line(picture)
    per_pound, high = (way[-1][0] - way[0][0]) / 2000, way[0][1] - way[-1][1]
    # Mean excess of a uniform cost over P: (b − P)² / (2 (b − a)) = 500² / 4000 = 62.5; its chance: 500 / 2000.
    assert area(corners) / (per_pound * high) == pytest.approx(62.5, rel=0.01)
    assert max(corners)[0] == pytest.approx(way[-1][0])
    edge = [y for x, y in corners if x == min(corners)[0]]
    assert (max(edge) - min(edge)) / high == pytest.approx(0.25, abs=0.001)


def test_a_curve_that_stops_short_of_the_dearest_bikes_is_hatched_as_far_as_it_goes() -> None:
    known = replace(UNIFORM, points=UNIFORM.points[:19])
    picture = seen(known)
    way = line(picture)
    per_pound, high = (way[-1][0] - way[0][0]) / 1800, (way[0][1] - way[-1][1]) / 0.9
    # The loss of 11,500 to 11,800 and no further: (500² − 200²) / 4000 = 52.5.
    assert area(hatch(picture)) / (per_pound * high) == pytest.approx(52.5, rel=0.01)


def test_the_chance_of_losing_is_read_between_two_points() -> None:
    curve = replace(UNIFORM, points=((Decimal(10000), Decimal(0)), (Decimal(12000), Decimal(1))), price=Decimal(11700))
    known = numpy.interp(11700, [10000, 12000], [0, 1])
    assert float(curve.loss) == pytest.approx(1 - known)
    assert replace(UNIFORM, price=Decimal(9999)).loss == 1
    assert replace(UNIFORM, price=Decimal(12000)).loss == 0
    assert replace(UNIFORM, price=Decimal(13000)).loss == 0


def test_a_jump_in_the_curve_is_no_trouble() -> None:
    points = ((Decimal(100), Decimal(0)), (Decimal(100), Decimal("0.5")), (Decimal(200), Decimal(1)))
    curve = replace(UNIFORM, points=points, expected=Decimal(125), price=Decimal(100), kept=Decimal(160))
    assert curve.loss == Decimal("0.5")
    assert seen(curve).outside() == []


def test_words_say_what_the_picture_shows() -> None:
    words = cost_curve_in_words(UNIFORM)
    assert words == (
        "Expected cost £11,000, price £11,500; 4 in 5 such bikes cost at most £11,600. "
        "At this price, 1 in 4 such bikes would lose money."
    )
    assert seen(UNIFORM).words == words
    assert seen(UNIFORM).title
    assert seen(UNIFORM).find("1 in 4 such bikes would lose money")


def test_a_price_over_every_cost_hatches_nothing() -> None:
    picture = seen(replace(UNIFORM, price=Decimal(13000)))
    assert "url(#" not in picture.svg
    assert picture.find("hardly ever")


STRANGE = [
    replace(UNIFORM, points=()),
    replace(
        UNIFORM, points=((Decimal(5000), Decimal(1)),), expected=Decimal(5000), price=Decimal(5000), kept=Decimal(5000)
    ),
    replace(UNIFORM, price=Decimal(0)),
    replace(UNIFORM, price=Decimal(9000)),
    replace(UNIFORM, price=Decimal(90000)),
    replace(UNIFORM, price=Decimal(11000), kept=Decimal(11000)),
    replace(UNIFORM, expected=Decimal(12000), price=Decimal(12000), kept=Decimal(12000)),
    replace(UNIFORM, expected=Decimal(10000), price=Decimal(10000), kept=Decimal(10000)),
    replace(UNIFORM, price=Decimal("123456789012"), currency="JPY"),
]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("curve", [UNIFORM, *STRANGE])
def test_everything_stays_in_the_frame_and_can_be_read(curve: CostCurve, width: int) -> None:
    picture = seen(curve, width)
    assert picture.outside() == []
    assert picture.overlaps() == []
    assert picture.struck() == []


@pytest.mark.parametrize("points", [(), ((Decimal(5000), Decimal(1)),)])
def test_a_spread_that_is_not_known_is_said_and_not_drawn(points: tuple[tuple[Decimal, Decimal], ...]) -> None:
    picture = seen(replace(UNIFORM, points=points))
    assert picture.find("not known yet")
    assert "lose money" not in picture.words
    assert picture.all("polyline") == []


def test_points_that_fall_are_refused() -> None:
    with pytest.raises(ValueError, match="rise"):
        replace(UNIFORM, points=((Decimal(2), Decimal(0)), (Decimal(1), Decimal(1))))
    with pytest.raises(ValueError, match="rise"):
        replace(UNIFORM, points=((Decimal(1), Decimal(1)), (Decimal(2), Decimal(0))))
    with pytest.raises(ValueError, match="from 0 to 1"):
        replace(UNIFORM, points=((Decimal(1), Decimal(2)),))
