"""What was spent adds up, and vendor money posted as one amount comes apart again."""

from dataclasses import fields
from decimal import Decimal
from fractions import Fraction

from quotes.engine.margin.spending import NOT_ANY, Outlay, Spent, Used, told_apart
from quotes.engine.visits import handled
from tests.engine.made import Chance
from tests.engine.margin import made, plain

D = Decimal


def test_two_outlays_together_are_each_field_together() -> None:
    for seed in range(60):
        one, *others = [spent.first for spent in made.job(seed).spent] or [NOT_ANY]
        other = others[0] if others else NOT_ANY
        both = one.plus(other)
        for field in fields(Outlay):
            mine, theirs = getattr(one, field.name), getattr(other, field.name)
            assert getattr(both, field.name) == mine + theirs
        assert Fraction(both.cost) == plain.cost(one) + plain.cost(other)


def test_cost_and_classes_are_first_pass_and_again() -> None:
    """Hand-worked, each class with a figure of its own."""
    first = Outlay(D(1), D(2), D(4), (Used("paint", D(1), D(8)),), D(16), D(32), D(64))
    again = Outlay(D(100), D(200), D(400), (Used("paint", D(1), D(800)),), D(1_600), D(3_200), D(6_400))
    spent = Spent("x", first, again)
    assert (spent.minutes, spent.cost) == (101, 12_600 + 126)
    classes = {name: spent.of_class(name) for name in ("labour", "overhead", "material", "vendor", "bought_in")}
    assert classes == {"labour": 202, "overhead": 404, "material": 808, "vendor": 4_848, "bought_in": 6_464}


def test_charge_and_handling_come_apart_as_a_quote_puts_them_together() -> None:
    by = Chance(4)
    for _ in range(300):
        charge, trip, rate = by.number(0, 900), by.number(0, 40), by.number(0, 0.3, 3)
        posted = handled(charge=charge, trip=trip, rate=rate)
        found, handling = told_apart(posted, trip=trip, rate=rate)
        assert abs(found - charge) < D("1e-20")
        assert Fraction(found) + Fraction(handling) == Fraction(posted)
