"""Bayes' rule and the value of information, against published worked examples."""

from decimal import Decimal
from fractions import Fraction

from quotes.engine.evidence import belief
from quotes.engine.inputs import NONE_OF_THESE, Candidate, Evidence, FinishQuestion, LookUp
from quotes.engine.look_ups import worth

D = Decimal


def test_the_cab_was_blue_with_41_percent() -> None:
    """Source: Kahneman, Thinking, Fast and Slow (2011), chapter 16 (Tversky & Kahneman 1982): 85 % of the cabs are Green,
    15 % Blue; a witness who is right 80 % of the time says Blue; the answer is 41 %, which is 12 / 29.

    Right 80 and wrong 20 times is a likelihood ratio of 4. "Neither" is no answer there, so the two are compared.
    """
    cabs = (Candidate("blue", "Blue", prior=D(15)), Candidate("green", "Green", prior=D(85)))
    found = belief(FinishQuestion("green", cabs, (Evidence("1", "witness", "witness", "blue", D(4)),)))
    blue = found["blue"] / (found["blue"] + found["green"])
    assert round(blue, 2) == D("0.41")
    assert abs(blue - D(12) / D(29)) < D("1e-20")


def test_knowing_which_components_are_defective_is_worth_seven_and_a_half() -> None:
    """Source: "Value of Imperfect Information", problem 20.1 (cipcommunity.org/essays/value-of-imperfect-information-149):
    a quarter of the components is defective; shipping brings 40, or -20 if defective, reworking first always 10; perfect
    information is worth 7.50 a component.

    As losses against the best: 30 for shipping a defective one, 30 for reworking a good one. Here "neither" keeps .04, where
    both lose nothing, so .96 of 7.50 are left.
    """
    conditions = (Candidate("ship", "good", prior=D(75)), Candidate("rework", "defective", prior=D(25)))
    question = FinishQuestion("ship", conditions, none=D("0.04"))
    losses = {("ship", "rework"): D(30), ("rework", "ship"): D(30), ("ship", NONE_OF_THESE): D(0), ("rework", ""): D(0)}
    (test,) = worth([LookUp("test", "test", D(0), D(10), ("part",))], {"part": question}, {"part": losses})
    assert test.knowing == D("7.5") * D("0.96")


def test_two_tests_multiply_the_odds_as_independent_evidence_does() -> None:
    """The odds form of Bayes' rule, value from memory of any textbook: prior odds 1 to 99, likelihood ratios 10 and 10,
    posterior odds 100 to 99."""
    asked = (Candidate("ill", "ill", prior=Fraction(1)), Candidate("well", "well", prior=Fraction(99)))  # type: ignore[arg-type]
    tests = tuple(Evidence(uid, uid, uid, "ill", Fraction(10)) for uid in ("first", "second"))  # type: ignore[arg-type]
    found = belief(FinishQuestion("well", asked, tests, none=Fraction(4, 100)))  # type: ignore[arg-type]
    assert found["ill"] / found["well"] == Fraction(100, 99)
