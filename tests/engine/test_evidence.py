"""Which finish a part had: priors, witnesses, and what is believed after them. By exact fractions where that can be."""

from dataclasses import replace
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.evidence import (
    LAST_PLACE,
    Standing,
    belief,
    checked,
    likeliest,
    origin_of,
    prior,
    saying,
    verdict,
    witnesses,
)
from quotes.engine.inputs import NONE_OF_THESE, Candidate, Evidence, FinishQuestion

D = Decimal
RED, BLACK, GREEN = (Candidate(name, name) for name in ("red", "black", "green"))


def said(uid: str, says: str, strength: Any = 5, origin: str = "") -> Evidence:
    return Evidence(uid, uid, origin or uid, says, D(strength) if isinstance(strength, str | int) else strength)


def asked(*evidence: Evidence, candidates: tuple[Candidate, ...] = (RED, BLACK), none: Any = "0.04") -> FinishQuestion:
    return FinishQuestion("black", candidates, evidence, D(none) if isinstance(none, str) else none)


# -- strategies --------------------------------------------------------------------------------------------------------

parts_of_a_hundred = st.integers(3, 99).map(lambda percent: Fraction(percent, 100))
ratios = st.fractions(min_value=Fraction(101, 100), max_value=1000, max_denominator=100)
weights = st.fractions(min_value=Fraction(1, 100), max_value=1000, max_denominator=100)


@st.composite
def exact_questions(draw: st.DrawFn, most_evidence: int = 5) -> FinishQuestion:
    """Questions in fractions, each origin consistent with itself."""
    keys = [f"f{number}" for number in range(draw(st.integers(1, 5)))]
    candidates = tuple(Candidate(key, key, prior=draw(weights)) for key in keys)  # type: ignore[arg-type]
    spoken = draw(st.lists(st.tuples(st.sampled_from([*keys, NONE_OF_THESE]), ratios), max_size=most_evidence))
    evidence = tuple(said(f"e{n}", says, ratio) for n, (says, ratio) in enumerate(spoken))
    return FinishQuestion(keys[0], candidates, evidence, draw(parts_of_a_hundred), Fraction(1))  # type: ignore[arg-type]


def in_decimals(question: FinishQuestion) -> FinishQuestion:
    def decimal(value: Any) -> Decimal:
        return D(value.numerator) / D(value.denominator)

    return FinishQuestion(
        question.chosen,
        tuple(Candidate(item.key, item.name, decimal(item.prior)) for item in question.candidates),
        tuple(Evidence(e.uid, e.name, e.origin, e.says, decimal(e.strength)) for e in question.evidence),
        decimal(question.none),
    )


def with_more(question: FinishQuestion, *more: Evidence) -> FinishQuestion:
    return replace(question, evidence=(*question.evidence, *more))


# -- what is believed --------------------------------------------------------------------------------------------------


def test_without_evidence_the_rest_of_none_is_shared_by_weight() -> None:
    """By hand: .96 shared 3 to 1."""
    three = Candidate("red", "red", prior=D(3))
    assert belief(asked(candidates=(three, BLACK))) == {NONE_OF_THESE: D("0.04"), "red": D("0.72"), "black": D("0.24")}


def test_a_witness_multiplies_the_odds_by_its_strength() -> None:
    """By hand: .48 × 8 against .48 and .04, of 4.36."""
    found = belief(asked(said("handbook", "red", 8)))
    assert [round(found[key], 6) for key in ("red", "black", NONE_OF_THESE)] == [
        round(D(part) / D("4.36"), 6) for part in ("3.84", "0.48", "0.04")
    ]


def test_independent_witnesses_multiply_and_none_of_these_can_be_said() -> None:
    """By hand: red .48 × 5 × 2 = 4.8, black .48, none .04 × 20 = .8, of 6.08."""
    found = belief(asked(said("a", "red", 5), said("b", "red", 2), said("c", NONE_OF_THESE, 20)))
    assert round(found["red"], 9) == round(D("4.8") / D("6.08"), 9)
    assert round(found[NONE_OF_THESE], 9) == round(D("0.8") / D("6.08"), 9)


@given(exact_questions(), ratios)
def test_on_average_a_further_witness_changes_nothing(question: FinishQuestion, strength: Fraction) -> None:
    """E[posterior] = prior, exactly: over everything the witness may say, by the chance that it says so."""
    before = belief(question)
    chances = saying(before, strength)  # type: ignore[arg-type]
    assert sum(chances.values()) == 1
    after = {says: belief(with_more(question, said("another", says, strength))) for says in chances}
    for answer in before:
        assert sum(chances[says] * after[says][answer] for says in chances) == before[answer]


@given(exact_questions())
def test_decimal_chances_add_up_to_exactly_one_in_any_order(question: FinishQuestion) -> None:
    found = belief(in_decimals(question))
    assert sum(found.values()) == 1
    assert sum(reversed(found.values())) == 1
    assert sum(sorted(found.values())) == 1
    assert all(0 <= chance <= 1 for chance in found.values())


@given(exact_questions())
def test_decimal_chances_are_the_exact_ones_to_the_last_place(question: FinishQuestion) -> None:
    exact, found = belief(question), belief(in_decimals(question))
    for answer, chance in exact.items():
        assert abs(found[answer] - D(chance.numerator) / D(chance.denominator)) <= 10 * LAST_PLACE


def test_what_cutting_leaves_over_goes_to_the_likeliest_and_of_several_to_the_first_key() -> None:
    """Three in a row of .97 / 3: thirds do not end."""
    found = belief(asked(candidates=(RED, GREEN, BLACK), none="0.03"))
    assert found["red"] == found["green"] == (D("0.97") / 3).quantize(LAST_PLACE, ROUND_DOWN)
    assert found["black"] - found["red"] == LAST_PLACE
    assert list(found) == [NONE_OF_THESE, "black", "green", "red"]


@given(exact_questions(), st.randoms(use_true_random=False))
def test_the_order_of_candidates_and_evidence_does_not_matter(question: FinishQuestion, random: Any) -> None:
    plain = in_decimals(question)
    candidates, evidence = list(plain.candidates), list(plain.evidence)
    random.shuffle(candidates)
    random.shuffle(evidence)
    assert belief(FinishQuestion(plain.chosen, tuple(candidates), tuple(evidence), plain.none)) == belief(plain)


# -- copies ------------------------------------------------------------------------------------------------------------


@given(exact_questions(), st.integers(1, 4))
def test_copies_of_one_origin_are_one_witness(question: FinishQuestion, copies: int) -> None:
    more = [
        Evidence(f"{item.uid} copy {n}", "a copy", f" {item.origin.upper()} ", item.says, item.strength)
        for item in question.evidence
        for n in range(copies)
    ]
    assert belief(with_more(question, *more)) == belief(question)


def test_of_one_origin_the_strongest_counts() -> None:
    weak, strong = said("copy", "red", 2, origin="parts book"), said("print", "red", 20, origin="Parts  Book ")
    assert belief(asked(weak, strong)) == belief(asked(strong)) == belief(asked(strong, weak))
    assert witnesses([weak, strong]) == (strong,)


def test_origins_differ_by_words_and_not_by_case_or_spaces() -> None:
    assert origin_of("  Parts\tBook 1937") == origin_of("parts book  1937")
    assert origin_of("parts book 1938") != origin_of("parts book 1937")


# -- how it stands -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("evidence", "standing", "answer"),
    [
        ((), Standing.OPEN, "black"),
        ((said("a", "red", 2),), Standing.LIKELY, "red"),
        ((said("a", "red", 20),), Standing.PROVEN, "red"),
        ((said("a", "red", 5), said("b", "red", 5)), Standing.PROVEN, "red"),
        ((said("a", "red", 5), said("b", "black", 5)), Standing.CONTRADICTING, "black"),
        ((said("a", "red", 5), said("b", "black", 2)), Standing.LIKELY, "red"),
    ],
)
def test_words_follow_the_witnesses(evidence: tuple[Evidence, ...], standing: Standing, answer: str) -> None:
    """By hand, with red and black alike: one strong witness .48 × 20 / 10.12 = .949, two fair ones .958, one fair .828."""
    found = verdict(asked(*evidence), proven=D("0.9"), fair=D(5))
    assert (found.standing, found.answer) == (standing, answer)


def test_a_list_of_one_does_not_prove_itself() -> None:
    """With one finish listed .97 are its own before anybody said anything."""
    only = asked(candidates=(BLACK,), none="0.03")
    assert verdict(only, proven=D("0.9"), fair=D(5)).standing == Standing.LIKELY
    assert verdict(with_more(only, said("a", "black", 2)), proven=D("0.9"), fair=D(5)).standing == Standing.PROVEN


def test_who_speaks_against_what_is_proven_is_named() -> None:
    """By hand: red .48 × 20 × 20 = 192 against black .48 × 5 = 2.4 and .04: .987."""
    found = verdict(
        asked(said("a", "red", 20), said("b", "red", 20), said("c", "black", 5)), proven=D("0.9"), fair=D(5)
    )
    assert (found.standing, found.answer, found.against) == (Standing.PROVEN, "red", ("c",))


def test_none_of_these_can_be_what_is_proven() -> None:
    """By hand: .04 × 400 = 16 against .96: .943."""
    said_so = (said("a", NONE_OF_THESE, 20), said("b", NONE_OF_THESE, 20))
    found = verdict(asked(*said_so), proven=D("0.9"), fair=D(5))
    assert (found.standing, found.answer) == (Standing.PROVEN, NONE_OF_THESE)


def test_of_equal_chances_the_first_key_is_the_likeliest() -> None:
    assert likeliest({"red": D("0.4"), "black": D("0.4"), "": D("0.2")}) == "black"


@given(exact_questions())
def test_before_any_evidence_the_chances_are_the_prior(question: FinishQuestion) -> None:
    assert sum(prior(question).values()) == 1
    assert prior(question) == belief(FinishQuestion(question.chosen, question.candidates, (), question.none))


# -- refused -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("strength", ["0", "1", "0.5", "-2", "Infinity", "NaN", "sNaN", "1000001", "1E+999"])
def test_a_strength_that_says_nothing_or_everything_is_refused_by_name(strength: str) -> None:
    with pytest.raises(BadInput) as refusal:
        checked(asked(said("handbook", "red", strength)))
    assert refusal.value.field == "strength"
    assert "“handbook”" in refusal.value.sentence()


@pytest.mark.parametrize("weight", ["0", "-1", "NaN", "Infinity"])
def test_a_weight_that_cannot_be_is_refused_by_name(weight: str) -> None:
    with pytest.raises(BadInput) as refusal:
        checked(asked(candidates=(Candidate("red", "red", prior=D(weight)), BLACK)))
    assert (refusal.value.field, "“red”" in refusal.value.sentence()) == ("weight", True)


@pytest.mark.parametrize("none", ["0", "0.0299", "1", "1.2", "-0.1", "NaN", "Infinity"])
def test_a_chance_of_none_out_of_range_is_refused(none: str) -> None:
    with pytest.raises(BadInput) as refusal:
        checked(asked(none=none))
    assert (refusal.value.field, none in refusal.value.sentence()) == ("none", True)


@pytest.mark.parametrize(
    ("question", "field", "words"),
    [
        (
            asked(said("letter", "blue")),
            "says",
            "“letter” speaks for a finish that is not listed. List that finish first",
        ),
        (asked(Evidence("1", "letter", " ", "red", D(5))), "origin", "Say where “letter” comes from first"),
        (asked(candidates=()), "candidates", "List at least one"),
        (asked(candidates=(RED, RED)), "candidates", "A finish is listed twice"),
        (asked(candidates=(RED, Candidate(NONE_OF_THESE, "?"))), "candidates", "is always an answer"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_what_to_do(question: FinishQuestion, field: str, words: str) -> None:
    with pytest.raises(BadInput) as refusal:
        checked(question)
    assert refusal.value.field == field
    assert words in refusal.value.sentence()


def test_one_origin_that_says_two_things_contradicts_itself_and_is_named() -> None:
    with pytest.raises(BadInput) as refusal:
        checked(asked(said("a", "red", origin="Parts book 1937"), said("b", "black", origin="parts  book 1937")))
    assert refusal.value.field == "says"
    assert "Contradicting evidence: “parts  book 1937” says two things." in refusal.value.sentence()


def test_two_origins_may_say_two_things() -> None:
    question = asked(said("a", "red"), said("b", "black"))
    assert checked(question) is question
