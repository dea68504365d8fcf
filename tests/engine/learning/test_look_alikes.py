import pytest

from quotes.engine.learning.look_alikes import Finished, distance, nearest


def bike(key: str, maker: str, year: int, parts: int, cost: int) -> Finished:
    return Finished(key, {"maker": maker, "year": year, "parts": parts}, cost, cost // 100)


BIKES = [
    bike("a", "Orrin", 1952, 40, 900_000),
    bike("b", "Orrin", 1956, 44, 1_100_000),
    bike("c", "Vell", 1956, 70, 2_000_000),
    bike("d", "Vell", 1969, 80, 2_600_000),
]


def test_gowers_distance_on_a_small_table() -> None:
    """J. C. Gower (1971), from memory: the mean over the things both have; a number differs by its share of the range."""
    ranges = {"year": 17, "parts": 40}
    apart, things = distance(BIKES[0].said, BIKES[2].said, ranges, {})
    assert things == 3
    assert apart == pytest.approx((1 + 4 / 17 + 30 / 40) / 3)


def test_what_nobody_said_does_not_count() -> None:
    assert distance({"maker": "orrin"}, BIKES[0].said, {}, {}) == (0.0, 1)
    assert distance({"colour": "grey"}, BIKES[0].said, {}, {}) == (1.0, 0)


def test_weights_make_a_thing_count_more() -> None:
    light = distance({"maker": "Vell", "year": 1952}, BIKES[0].said, {"year": 17}, {})[0]
    heavy = distance({"maker": "Vell", "year": 1952}, BIKES[0].said, {"year": 17}, {"maker": 3})[0]
    assert (light, heavy) == (0.5, 0.75)


def test_the_nearest_bikes_give_the_ballpark() -> None:
    found = nearest({"maker": "Orrin", "year": 1955, "parts": 42}, BIKES, count=3)
    assert found is not None
    assert [near.bike.key for near in found.bikes] == ["b", "a", "c"]
    assert (found.low, found.middle, found.high) == (900_000, 1_100_000, 2_000_000)


def test_the_middle_of_an_even_number_lies_between() -> None:
    found = nearest({"maker": "Orrin"}, BIKES, count=2)
    assert found is not None
    assert (found.low, found.middle, found.high) == (900_000, 1_000_000, 1_100_000)


def test_without_anything_in_common_there_is_none() -> None:
    assert nearest({"colour": "grey"}, BIKES) is None
    assert nearest({"maker": "Orrin"}, []) is None


def test_bikes_at_one_distance_come_in_the_order_of_their_keys() -> None:
    found = nearest({"maker": "Vell"}, BIKES[::-1], count=2)
    assert found is not None
    assert [near.bike.key for near in found.bikes] == ["c", "d"]
