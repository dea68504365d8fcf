"""The figures of a whole quote open down to what was given, and each is what its inputs make of it."""

from decimal import Decimal, localcontext

from hypothesis import given
from hypothesis import strategies as st

from quotes.engine import explaining
from quotes.engine.figures import Figure
from quotes.engine.formulas import REGISTRY
from quotes.engine.inputs import TaxBy
from quotes.engine.money import CONTEXT, places, rounded
from quotes.engine.rollup import price
from tests.engine import made


def close(one: Decimal, other: Decimal) -> bool:
    return abs(one - other) <= Decimal("1e-20") * max(abs(one), abs(other), Decimal(1))


@given(st.integers(0, 10**6))
def test_a_line_opens_to_steps_that_add_up_to_its_cost_classes(seed: int) -> None:
    restoration = made.by_seed(2 * seed + 1)
    found = price(restoration)
    with localcontext(CONTEXT):
        for item in found.result.lines[: len(restoration.parts)]:
            figure = explaining.line(found, restoration, item.uid)
            assert figure.value == item.price
            classes = [below for _, below in figure.walk() if below.name.startswith("cost of ")]
            assert close(sum((below.value for below in classes), Decimal(0)), _in_classes(item, classes))
            assert all(below.inputs for below in classes)


def _in_classes(item: object, classes: list[Figure]) -> Decimal:
    """What the line says of the classes that are shown; with charge-out rates labour and overhead are not."""
    keys = {"labour": "labour", "overhead": "overhead", "consumables": "material", "vendor work": "vendor"}
    keys["bought-in parts"] = "bought_in"
    shown = [getattr(item, keys[figure.name.removeprefix("cost of ")]) for figure in classes]
    return sum(shown, Decimal(0))


@given(st.integers(0, 10**6))
def test_the_totals_are_what_their_inputs_make_of_them(seed: int) -> None:
    restoration = made.by_seed(seed)
    found = price(restoration)
    result, digits, rule = found.result, places(restoration.policy.currency), restoration.policy.rounding
    with localcontext(CONTEXT):
        figures = {figure.name: figure for figure in explaining.whole(found, restoration)}
        for figure in figures.values():
            values = [item.value for item in figure.inputs]
            if figure.formula in {"sum_1", "net_1", "floor_1"}:
                assert close(REGISTRY[figure.formula].compute(*values), figure.value), figure.name
            if figure.formula == "discount_1":
                assert rounded(values[0] * values[1], digits=digits, rule=rule) == figure.value
            if figure.formula == "tax_1" and restoration.policy.tax_by is TaxBy.DOCUMENT:
                assert rounded(values[0] * values[1], digits=digits, rule=rule) == figure.value
        assert (figures["total"].value, figures["net"].value) == (result.total, result.net)
        assert figures["expected cost"].value == result.cost
