"""What looking something up is worth, against its definition worked out the long way in fractions."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.evidence import belief, saying
from quotes.engine.inputs import NONE_OF_THESE, Candidate, FinishQuestion, LookUp
from quotes.engine.look_ups import Worth, worth
from tests.engine.test_evidence import asked, exact_questions, ratios, said, with_more

D = Decimal
amounts = st.fractions(min_value=0, max_value=2000, max_denominator=20)
LOST = {
    ("red", "black"): D(1000),
    ("black", "red"): D(600),
    ("red", NONE_OF_THESE): D(800),
    ("black", NONE_OF_THESE): D(800),
}


def source(key: str = "archive", strength: Any = 8, cost: Any = 0, parts: tuple[str, ...] = ("tank",)) -> LookUp:
    return LookUp(key, key, D(cost) if isinstance(cost, int | str) else cost, _exact(strength), parts)


def _exact(strength: Any) -> Any:
    return D(strength) if isinstance(strength, int | str) else strength


def found(look_up: LookUp, question: FinishQuestion, losses: Mapping[tuple[str, str], Any]) -> Worth:
    (only,) = worth([look_up], {"tank": question}, {"tank": losses})
    return only


@st.composite
def choices(draw: st.DrawFn) -> tuple[FinishQuestion, dict[tuple[str, str], Fraction]]:
    question = draw(exact_questions(most_evidence=3))
    keys = [candidate.key for candidate in question.candidates]
    losses = {(put_on, right): draw(amounts) for put_on in keys for right in [*keys, NONE_OF_THESE] if right != put_on}
    return question, losses


def smallest_loss(question: FinishQuestion, losses: Mapping[tuple[str, str], Fraction]) -> Any:
    chances = belief(question)
    return min(
        sum(chances[right] * losses.get((candidate.key, right), Fraction(0)) for right in chances)
        for candidate in question.candidates
    )


@given(choices(), ratios)
def test_a_source_saves_what_the_definition_says(choice: Any, strength: Fraction) -> None:
    """min_f E[L] - Σ_e P(e) min_f E[L | e], with every posterior worked out anew from the evidence."""
    question, losses = choice
    chances = saying(belief(question), strength)  # type: ignore[arg-type]
    after = sum(
        chance * smallest_loss(with_more(question, said("looked up", says, strength)), losses)
        for says, chance in chances.items()
    )
    result = found(source(strength=strength, cost=Fraction(0)), question, losses)
    assert result.saving == smallest_loss(question, losses) - after


@given(choices(), ratios)
def test_a_source_is_worth_something_from_nothing_to_what_knowing_is(choice: Any, strength: Fraction) -> None:
    question, losses = choice
    result = found(source(strength=strength, cost=Fraction(0)), question, losses)
    assert 0 <= result.saving <= result.knowing


@given(choices(), ratios)
def test_what_cannot_change_the_choice_is_worth_exactly_nothing(choice: Any, strength: Fraction) -> None:
    question, losses = choice
    result = found(source(strength=strength, cost=Fraction(0)), question, losses)
    assert (result.saving > 0) == result.changes


@given(choices(), ratios, ratios)
def test_a_stronger_source_is_never_worth_less(choice: Any, one: Fraction, other: Fraction) -> None:
    question, losses = choice
    weak, strong = sorted((one, other))
    savings = [found(source(strength=ratio, cost=Fraction(0)), question, losses).saving for ratio in (weak, strong)]
    assert savings[0] <= savings[1]


def test_the_worked_table() -> None:
    """By hand, in the docstring of the module: 182.4 less 40, knowing 288."""
    result = found(source(cost=40), asked(), LOST)
    assert (result.saving, result.net, result.knowing, result.changes) == (D("182.4"), D("142.4"), D(288), True)


def test_where_one_finish_is_cheapest_whatever_was_right_looking_is_worth_nothing() -> None:
    """Black loses nothing even where red was right: no witness changes that."""
    result = found(source(strength=1000), asked(), LOST | {("black", "red"): D(0), ("black", NONE_OF_THESE): D(0)})
    assert (result.saving, result.changes, result.net) == (0, False, 0)


def test_a_weak_source_against_a_firm_belief_is_worth_nothing_and_a_strong_one_something() -> None:
    firm = asked(said("record", "black", 20))
    assert not found(source(strength=2), firm, LOST).changes
    assert found(source(strength=200), firm, LOST).saving > 0


def test_a_wrong_finish_that_is_seldom_noticed_makes_looking_worth_less() -> None:
    half = FinishQuestion("black", asked().candidates, (), D("0.04"), noticed=D("0.5"))
    assert found(source(), half, LOST).saving == D("91.2")


def test_a_source_saves_over_all_the_parts_it_speaks_of_and_costs_once() -> None:
    questions = {"tank": asked(), "guard": asked(), "chain case": asked()}
    (result,) = worth([source(cost=40, parts=("tank", "guard"))], questions, dict.fromkeys(questions, LOST))
    assert (result.saving, result.net) == (D("364.8"), D("324.8"))
    assert [(share.part, share.saving) for share in result.shares] == [("tank", D("182.4")), ("guard", D("182.4"))]


def test_the_best_comes_first_by_what_is_left_and_ties_go_by_key() -> None:
    cheap, dear, twin = source("y", cost=10), source("a", strength=50, cost=500), source("x", cost=10)
    ranked = worth([dear, cheap, twin], {"tank": asked()}, {"tank": LOST})
    assert [item.key for item in ranked] == ["x", "y", "a"]
    assert ranked[-1].net < 0


def test_parts_without_a_question_are_passed_over_and_named_twice_count_once() -> None:
    (result,) = worth([source(parts=("tank", "saddle", "tank"))], {"tank": asked()}, {"tank": LOST})
    assert [share.part for share in result.shares] == ["tank"]
    (none,) = worth([source(parts=("saddle",), cost=5)], {"tank": asked()}, {"tank": LOST})
    assert (none.saving, none.net, none.changes) == (0, -5, False)


def test_with_one_finish_listed_there_is_no_choice_to_change() -> None:
    only = asked(candidates=(Candidate("black", "black"),))
    assert not found(source(strength=1000), only, {("black", NONE_OF_THESE): D(800)}).changes


@pytest.mark.parametrize(
    ("look_up", "field"),
    [
        (source(strength=1), "strength"),
        (source(strength="Infinity"), "strength"),
        (source(cost=-1), "cost"),
        (source(cost="Infinity"), "cost"),
        (source(cost="NaN"), "cost"),
    ],
)
def test_a_source_that_cannot_be_is_refused_by_name(look_up: LookUp, field: str) -> None:
    with pytest.raises(BadInput) as refusal:
        found(look_up, asked(), LOST)
    assert (refusal.value.field, "“archive”" in refusal.value.sentence()) == (field, True)
