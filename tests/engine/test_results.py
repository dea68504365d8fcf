from dataclasses import replace
from decimal import Decimal

import pytest

from quotes.engine.errors import BadInput
from quotes.engine.inputs import PaymentStage
from quotes.engine.results import Result, Visit
from tests.engine.build import part, policy, priced, step

D = Decimal


def result(**changes: object) -> Result:
    stages = (PaymentStage("deposit", D(25), "now"), PaymentStage("rest", D(75), "at hand-over"))
    return priced(part("a", step("a1")), part("b", step("b1")), policy=policy(stages=stages, **changes)).result


@pytest.mark.parametrize("field", ["price", "discount", "net", "tax", "total"])
def test_figures_that_do_not_add_up_cannot_be_made(field: str) -> None:
    good = result()
    with pytest.raises(AssertionError, match="do not add up"):
        replace(good, **{field: getattr(good, field) + D("0.01")})


@pytest.mark.parametrize("field", ["lines", "taxes", "instalments"])
def test_a_missing_line_is_noticed(field: str) -> None:
    good = result()
    with pytest.raises(AssertionError, match="do not add up"):
        replace(good, **{field: getattr(good, field)[:1] if field != "taxes" else ()})


def test_a_price_just_at_the_floor_keeps_it() -> None:
    assert not result(labour_margin=D("0.2"), floor=D("0.2")).below_floor
    assert result(labour_margin=D("0.2"), floor=D("0.21")).below_floor


def test_the_margin_is_on_the_net() -> None:
    assert result(labour_margin=D("0.2")).margin == D("0.2")


def test_a_quote_of_nothing_has_no_margin() -> None:
    empty = priced().result
    assert (empty.total, empty.margin, empty.lines) == (0, None, ())


def test_visits_add_and_multiply_every_class() -> None:
    visit = Visit(*map(D, range(1, 8)))
    assert visit.plus(visit) == visit.times(D(2)) == Visit(*map(D, range(2, 16, 2)))
    assert visit.cost == 2 + 3 + 4 + 5 + 6  # minutes and charge-out money are no cost


def test_an_error_keeps_the_place_it_has_and_takes_one_it_lacks() -> None:
    error = BadInput("Give {what}.", step="coat", what="hours").at(part="Frame", step="other")
    assert (error.part, error.step) == ("Frame", "coat")
    assert str(error) == "Frame, coat: Give hours."
    assert error.sentence("Gib {what}.") == "Frame, coat: Gib hours."
