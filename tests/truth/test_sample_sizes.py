"""How many observations a time needs, against worked examples of work measurement."""

import math

import pytest

from quotes.engine.learning.samples import certainty, needed, needed_for


def test_a_percent_and_a_hundredth_of_a_minute_either_way() -> None:
    """Source: scribd 534908258: s .034, mean .83, z 2; 67.12 → 68 and 46.24 → 47."""
    percent = needed(mean=0.83, deviation=0.034, accuracy=0.01, z=2)
    hundredth = needed(mean=0.83, deviation=0.034, accuracy=0.01 / 0.83, z=2)
    assert (round(percent, 2), math.ceil(percent)) == (67.12, 68)
    assert (round(hundredth, 2), math.ceil(hundredth)) == (46.24, 47)


def test_five_readings_within_a_tenth() -> None:
    """Source: transtutors.com, sample-size determination: it prints 3.87, exactly it is 3.68; four either way."""
    readings = [8, 7, 8, 9, 7]
    mean = sum(readings) / 5
    deviation = math.sqrt(sum((each - mean) ** 2 for each in readings) / 5)
    assert round(needed(mean=mean, deviation=deviation, accuracy=0.1, z=2), 2) == 3.68
    assert needed_for(readings, accuracy=0.1, z=2) == 4


def test_five_readings_within_a_twentieth() -> None:
    """Readings: expertsmind.com 30143277; (40 √(n Σx² − (Σx)²) / Σx)² as in ILO, *Introduction to Work Study*, ch. 21
    (value from memory): 8.82 → 9."""
    readings = [7, 6, 7, 7, 6]
    whole, squares = sum(readings), sum(each * each for each in readings)
    by_the_book = (40 * math.sqrt(5 * squares - whole * whole) / whole) ** 2
    assert round(by_the_book, 2) == 8.82
    assert needed_for(readings, accuracy=0.05, z=2) == math.ceil(by_the_book) == 9


def test_few_readings_with_their_own_deviation() -> None:
    """Source: quesba 848603 (Heizer): mean 3.66, s .3507, n 14.11 → 15 at 95 % and 5 %."""
    readings = [3.5, 3.2, 4.1, 3.6, 3.9]
    exact = needed(mean=3.66, deviation=0.3507, accuracy=0.05, z=certainty(0.95))
    assert round(exact, 2) == 14.11
    assert needed_for(readings, accuracy=0.05, z=certainty(0.95), few=True) == 15


def test_what_cannot_be_is_refused() -> None:
    for wrong in ({"mean": 0.0}, {"accuracy": 0.0}, {"deviation": -1.0}):
        with pytest.raises(ValueError, match="above nothing"):
            needed(**({"mean": 1.0, "deviation": 1.0, "accuracy": 0.1, "z": 2.0} | wrong))
    with pytest.raises(ValueError, match="two readings"):
        needed_for([1.0], accuracy=0.1, z=2)
    with pytest.raises(ValueError, match="no probability"):
        certainty(1)
