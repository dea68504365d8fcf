"""Asked for the same values again, the engine is not asked again; asked for others, it is."""

from decimal import Decimal

import pytest

from quotes.pricing.remembered import remembered


class Asked:
    """Writes a number out, as a figure's explanation does, and counts how often it had to."""

    def __init__(self, *, most: int = 2) -> None:
        self.times = 0
        self.look = remembered(self._write, most=most)

    def _write(self, number: Decimal, *, unit: str = "") -> str:
        self.times += 1
        if number < 0:
            raise ValueError(number)
        return f"{number}{unit}"


def test_the_same_values_are_worked_out_once():
    asked = Asked()
    assert [asked.look(Decimal("1.5"), unit="h") for _ in range(3)] == ["1.5h"] * 3
    assert asked.times == 1


@pytest.mark.parametrize(("number", "unit", "answer"), [("1.50", "h", "1.50h"), ("1.5", "m", "1.5m")])
def test_values_that_are_written_otherwise_are_other_values(number, unit, answer):
    asked = Asked()
    asked.look(Decimal("1.5"), unit="h")
    assert asked.look(Decimal(number), unit=unit) == answer


def test_a_refusal_is_said_again_each_time():
    asked = Asked()
    for _ in range(2):
        with pytest.raises(ValueError, match="-1"):
            asked.look(Decimal(-1))
    assert asked.times == 2


def test_what_was_looked_at_longest_ago_is_forgotten_first():
    asked = Asked(most=2)
    for number in (1, 2, 1, 3, 1):
        asked.look(Decimal(number))
    assert asked.times == 3
    asked.look(Decimal(2))
    assert asked.times == 4
