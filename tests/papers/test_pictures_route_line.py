import itertools
import random
from decimal import Decimal

import pytest

from shop.papers.pictures import PAPER, PHONE, chances
from shop.papers.pictures.route_line import KINDS, PURCHASE, VENDOR, RouteLine, Stop, draw, route_in_words
from shop.papers.pictures.ways_back import WayBack
from tests.papers.seen import Seen

WIDTHS = [PHONE, PAPER]
TANK = RouteLine(
    part="Petrol tank",
    stops=(
        Stop(name="Strip and photograph"),
        Stop(name="Chemical strip", kind=VENDOR, outside="Adley baths", days=Decimal(8)),
        Stop(name="Braze pinholes"),
        Stop(name="Pressure test"),
        Stop(name="Prime", then_waits="24 h drying"),
        Stop(name="Colour coats", then_waits="45 min oven", waits_on=("Mudguard, front", "Headlamp shell")),
        Stop(name="Tank badges", kind=PURCHASE, outside="Reproduction", days=Decimal(15)),
        Stop(name="Fit", waits_on=("Frame",)),
    ),
    ways_back=(
        WayBack(start=3, to=2, chance=Decimal("0.15")),
        WayBack(start=5, to=4, chance=Decimal("0.083")),
        WayBack(start=5, to=5, chance=Decimal("0.13")),
        WayBack(start=7, to=7, chance=Decimal("0.02")),
    ),
)


def seen(route: RouteLine, width: int = PHONE) -> Seen:
    return Seen(draw(route, width=width))


def written(picture: Seen) -> str:
    return " ".join(one.words for one in picture.written)


def way_backs(picture: Seen) -> list[list[tuple[float, float]]]:
    """Thin strokes with corners: nothing else is drawn with this width."""
    paths = zip(picture.all("path"), picture.paths, strict=True)
    return [way for element, way in paths if element.attrib["stroke-width"] == "1.3"]


@pytest.mark.parametrize("width", WIDTHS)
def test_every_way_back_is_drawn_and_has_its_chance_beside_it(width: int) -> None:
    picture = seen(TANK, width)
    assert len(way_backs(picture)) == 4
    for odds in ("1 in 6", "1 in 12", "1 in 8", "1 in 50"):
        assert [one.words for one in picture.written].count(odds) == 1


@pytest.mark.parametrize("width", WIDTHS)
def test_a_way_back_starts_under_its_step_and_ends_under_the_one_it_leads_to(width: int) -> None:
    picture = seen(TANK, width)
    middles = [picture.find(words).x for words in ("Braze", "Pressure")]
    from_test = way_backs(picture)[0]
    assert from_test[0][0] == pytest.approx(middles[1], abs=13)
    assert from_test[-1][0] == pytest.approx(middles[0], abs=13)


@pytest.mark.parametrize("width", WIDTHS)
def test_each_kind_of_step_is_drawn_in_its_own_way(width: int) -> None:
    picture = seen(TANK, width)
    rings = [dot for dot in picture.all("circle") if dot.attrib["fill"] == "none"]
    knots = [dot for dot in picture.all("circle") if dot.attrib["r"] == "5" and dot.attrib["fill"] != "none"]
    hops = [
        path
        for path in picture.all("path")
        if path.attrib["d"].count("Q") == 2 and path.attrib["stroke-width"] == "2.5"
    ]
    assert (len(knots), len(hops), len(rings)) == (6, 1, 1)
    assert picture.find("Adley baths").y < picture.find("8 days").y


def test_what_a_step_waits_on_hangs_at_it_and_what_stands_is_broken() -> None:
    picture = seen(TANK, PAPER)
    for words in ("Mudguard,", "Headlamp", "Frame", "24 h drying"):
        assert picture.find(words)
    assert len([path for path in picture.all("path") if path.attrib["stroke-dasharray"] == "3 6"]) == 2


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("count", range(1, 15))
def test_one_to_fourteen_steps_fit(count: int, width: int) -> None:
    stops = tuple(Stop(name=f"Step number {number}") for number in range(count))
    picture = seen(RouteLine(part="Frame", stops=stops), width)
    knots = [(float(dot.attrib["cy"]), float(dot.attrib["cx"])) for dot in picture.all("circle")]
    assert len(knots) == count
    assert knots == sorted(knots)
    assert len({y for y, _x in knots}) <= (5 if width == PHONE else 3)


def test_words_tell_the_whole_route() -> None:
    assert route_in_words(TANK) == (
        "Petrol tank: 1. Strip and photograph; 2. Chemical strip, out at Adley baths, 8 days; 3. Braze pinholes; "
        "4. Pressure test; 5. Prime, then stands 24 h drying; "
        "6. Colour coats, waits for Mudguard, front, Headlamp shell, then stands 45 min oven; "
        "7. Tank badges, bought from Reproduction, 15 days; 8. Fit, waits for Frame. "
        "About 1 in 6, Pressure test leads back to Braze pinholes. "
        "About 1 in 12, Colour coats leads back to Prime. About 1 in 8, Colour coats is done again. "
        "1 in 50, Fit is done again."
    )
    assert seen(TANK).words == route_in_words(TANK)
    assert seen(TANK).title == "Route: Petrol tank"


def test_a_route_without_steps_says_so() -> None:
    empty = RouteLine(part="Horn", stops=())
    assert seen(empty).find("No steps yet.")
    assert seen(empty).outside() == []
    assert route_in_words(empty) == "Horn: no steps yet."


def test_a_vendor_nobody_named_is_said_to_be_missing() -> None:
    route = RouteLine(part="Horn", stops=(Stop(name="Chrome", kind=VENDOR),))
    assert "nobody named yet" in route_in_words(route)
    assert seen(route).find("nobody yet")


@pytest.mark.parametrize(("start", "to"), [(0, 1), (1, -1), (8, 0)])
def test_a_way_back_that_leads_on_or_nowhere_is_refused(start: int, to: int) -> None:
    with pytest.raises(ValueError, match="A way back leads"):
        RouteLine(part="x", stops=TANK.stops, ways_back=(WayBack(start=start, to=to, chance=Decimal("0.1")),))


def test_a_kind_of_step_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="own, vendor, purchase"):
        Stop(name="x", kind="magic")


WORDS = ["Blast", "Straighten", "Decorative chrome", "Fill and rub down", "Lace and true", "Einfahrgeschwindigkeit"]


def made_up(seed: int) -> RouteLine:
    chance = random.Random(seed)
    count = chance.randint(1, 14)
    stops = tuple(
        Stop(
            name=chance.choice(WORDS),
            kind=chance.choice(KINDS),
            outside=chance.choice(WORDS),
            days=chance.choice([None, Decimal(8), Decimal(120)]),
            then_waits=chance.choice(["", "", "24 h drying", "45 min oven"]),
            waits_on=tuple(
                chance.choices(["Frame", "Mudguard, front", "Headlamp shell"], k=chance.choice([0, 0, 1, 3]))
            ),
        )
        for _ in range(count)
    )
    pairs = [(start, to) for start in range(count) for to in range(start + 1)]
    ways = chance.sample(pairs, k=min(len(pairs), chance.randint(0, 5)))
    shares = [0.002, 0.05, 0.083, 0.48]
    back = tuple(WayBack(start=start, to=to, chance=chance.choice(shares)) for start, to in ways)
    return RouteLine(part=chance.choice(WORDS), stops=stops, ways_back=back)


@pytest.mark.parametrize("width", WIDTHS)
def test_whatever_the_route_it_stays_in_the_frame_and_can_be_read(width: int) -> None:
    for seed in range(60):
        picture = seen(made_up(seed), width)
        assert picture.outside() == [], seed
        assert picture.overlaps() == [], seed
        assert picture.struck() == [], seed


@pytest.mark.parametrize("width", WIDTHS)
def test_whatever_the_route_no_way_back_runs_along_another_or_through_writing(width: int) -> None:
    for seed in range(60):
        route = made_up(seed)
        picture = seen(route, width)
        levels = [level for way in way_backs(picture) for level in _levels(way)]
        for (y, left, right), (other_y, other_left, other_right) in itertools.combinations(levels, 2):
            assert abs(y - other_y) > 10 or right < other_left or other_right < left, seed
        for words, room in picture.rooms():
            for y, left, right in levels:
                assert not (room.top < y < room.bottom and left < room.right and room.left < right), (seed, words)
        said = written(picture)
        assert all(chances.odds(way.chance) in said for way in route.ways_back)


def _levels(way: list[tuple[float, float]]) -> list[tuple[float, float, float]]:
    """Where a way runs level: height, left and right end."""
    return [
        (y1, min(x1, x2), max(x1, x2))
        for (x1, y1), (x2, y2) in itertools.pairwise(way)
        if y1 == y2 and abs(x1 - x2) > 12
    ]
