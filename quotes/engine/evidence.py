"""Which finish a part had when it was new: what is believed before any evidence, and after it.

Before any evidence the chance ``none`` belongs to "none of these", and the rest to the candidates by their prior.
Evidence of strength r that says f is r times likelier to be seen where f is right than where any other answer is: with n
answers, "none of these" included, a witness says f with chance r / (r + n - 1) where f is right and each other answer with
1 / (r + n - 1), which adds up to 1. So every witness multiplies the chance of what it says by r and leaves the others
(Bayes' rule in odds form), and the chances are scaled to add up to 1. What has one origin is one witness: its strongest
statement counts, once.

Worked: red or black alike, none .04; a handbook (r = 8) says red, and so do two copies of it.

| answer | before | times | | after |
| --- | --- | --- | --- | --- |
| red | .48 | 8 | 3.84 | 3.84 / 4.36 = .881 |
| black | .48 | 1 | .48 | .110 |
| none of these | .04 | 1 | .04 | .009 |

Numbers are `Decimal`; with `Fraction` everything here is exact.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from enum import StrEnum

from quotes.engine.errors import BadInput
from quotes.engine.formulas import variant
from quotes.engine.inputs import NONE_OF_THESE, Candidate, Evidence, FinishQuestion

#: The least chance that none of the listed finishes is right: nobody's list is complete.
LEAST_NONE = Decimal("0.03")
#: Nothing is surer than this, as a likelihood ratio or as a prior against the others.
MOST = Decimal(1_000_000)
#: Chances are kept to this, so that they add up to 1 exactly in whatever order.
LAST_PLACE = Decimal("1e-24")


def checked(question: FinishQuestion) -> FinishQuestion:
    """``question`` if its chances, priors and strengths can be, and no origin says two things; else `BadInput`."""
    if not question.candidates:
        raise BadInput("No finish is listed. List at least one that it may have had.", field="candidates")
    for candidate in question.candidates:
        _checked_candidate(candidate)
    keys = {candidate.key for candidate in question.candidates}
    if len(keys) < len(question.candidates):
        raise BadInput("A finish is listed twice. List it once.", field="candidates")
    if not _within(question.none, above=0, most=1) or not LEAST_NONE <= question.none < 1:
        raise BadInput(
            "The chance that none of the listed finishes is right is {chance}. Give at least {least} and less than 1.",
            field="none",
            chance=question.none,
            least=LEAST_NONE,
        )
    for item in question.evidence:
        _checked_evidence(item, keys)
    _refuse_contradictions(question.evidence)
    return question


def _within(value: Decimal, *, above: int, most: Decimal | int) -> bool:
    """Whether ``value`` is a number, more than ``above`` and at most ``most``."""
    return (not isinstance(value, Decimal) or value.is_finite()) and above < value <= most


def _checked_candidate(candidate: Candidate) -> None:
    if candidate.key == NONE_OF_THESE:
        raise BadInput("“None of these” is always an answer. Take it off the list.", field="candidates")
    if not _within(candidate.prior, above=0, most=MOST):
        raise BadInput(
            "“{name}” has the weight {weight}. Give more than 0 and at most {most}, or take the finish off the list.",
            field="weight",
            name=candidate.name,
            weight=candidate.prior,
            most=MOST,
        )


def _checked_evidence(item: Evidence, keys: set[str]) -> None:
    checked_strength(item.strength, name=item.name)
    if not item.origin.strip():
        raise BadInput("Say where “{name}” comes from first: the origin is empty.", field="origin", name=item.name)
    if item.says not in keys and item.says != NONE_OF_THESE:
        raise BadInput(
            "“{name}” speaks for a finish that is not listed. List that finish first, or say “none of these”.",
            field="says",
            name=item.name,
        )


def checked_strength(strength: Decimal, *, name: str) -> Decimal:
    """``strength`` [times likelier] if evidence can have it; else `BadInput`."""
    if not _within(strength, above=1, most=MOST):
        raise BadInput(
            "“{name}” is {strength} times likelier to be seen where it is right. Give more than 1 and at most {most}: "
            "with 1 it says nothing, and nothing is certain.",
            field="strength",
            name=name,
            strength=strength,
            most=MOST,
        )
    return strength


def origin_of(text: str) -> str:
    """An origin as it is compared: large or small letters and the spaces between words do not make two.

    >>> origin_of(" Parts book  1937 ") == origin_of("parts Book 1937")
    True
    """
    return " ".join(text.split()).casefold()


def _refuse_contradictions(evidence: Iterable[Evidence]) -> None:
    said: dict[str, Evidence] = {}
    for item in evidence:
        first = said.setdefault(origin_of(item.origin), item)
        if first.says != item.says:
            raise BadInput(
                "Contradicting evidence: “{origin}” says two things. One origin is one witness: put right what it says, "
                "or name the second origin.",
                field="says",
                origin=item.origin.strip(),
            )


def witnesses(evidence: Iterable[Evidence]) -> tuple[Evidence, ...]:
    """The strongest statement of each origin, in an order that does not hang on the one given."""
    found: dict[str, Evidence] = {}
    for item in evidence:
        origin = origin_of(item.origin)
        if origin not in found or item.strength > found[origin].strength:
            found[origin] = item
    return tuple(found[origin] for origin in sorted(found))


def prior(question: FinishQuestion) -> dict[str, Decimal]:
    """The chance of each answer before any evidence, unrounded, in the order of the keys."""
    weights = {candidate.key: candidate.prior for candidate in sorted(question.candidates, key=lambda item: item.key)}
    total = sum(weights.values())
    listed = {key: (1 - question.none) * weight / total for key, weight in weights.items()}
    return {NONE_OF_THESE: question.none, **listed}


@variant("belief_1", "prior × strength of each origin that says so, scaled to add up to 1")
def belief(question: FinishQuestion) -> dict[str, Decimal]:
    """The chance of each answer [fraction] by all evidence; they add up to exactly 1. ``question`` as `checked`.

    Chances are kept to 24 places; what cutting leaves over goes to the likeliest answer, of several to the first key.

    >>> red, black = Candidate("r", "red"), Candidate("b", "black")
    >>> said = tuple(Evidence(uid, uid, "handbook", "r", Decimal(8)) for uid in ("print", "copy"))
    >>> found = belief(FinishQuestion("r", (red, black), said, none=Decimal("0.04")))
    >>> {key: str(round(chance, 3)) for key, chance in found.items()}
    {'': '0.009', 'b': '0.110', 'r': '0.881'}
    >>> sum(found.values()) == 1
    True
    """
    odds = prior(question)
    for item in witnesses(question.evidence):
        odds[item.says] *= item.strength
    total = sum(odds.values())
    return _adding_up({key: chance / total for key, chance in odds.items()})


def _adding_up(chances: dict[str, Decimal]) -> dict[str, Decimal]:
    """``chances`` cut at the last place kept, so that what is left over is never negative; fractions are exact already."""
    kept = {key: _cut(chance) for key, chance in chances.items()}
    kept[likeliest(kept)] += 1 - sum(kept.values())
    return kept


def _cut(chance: Decimal) -> Decimal:
    return chance.quantize(LAST_PLACE, ROUND_DOWN) if isinstance(chance, Decimal) else chance


def likeliest(chances: Mapping[str, Decimal]) -> str:
    """The answer with the largest chance; of several the first by key."""
    return min(chances, key=lambda key: (-chances[key], key))


def saying(chances: Mapping[str, Decimal], strength: Decimal) -> dict[str, Decimal]:
    """How likely a further witness of ``strength`` is to say each answer, by what is believed now.

    >>> saying({"r": Decimal("0.5"), "b": Decimal("0.5")}, Decimal(4))
    {'r': Decimal('0.5'), 'b': Decimal('0.5')}
    """
    answers = len(chances)
    return {key: (1 + (strength - 1) * chance) / (strength + answers - 1) for key, chance in chances.items()}


class Standing(StrEnum):
    """How a question stands."""

    PROVEN = "proven"
    LIKELY = "likely"
    OPEN = "open"
    CONTRADICTING = "contradicting"


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a question stands: the likeliest ``answer`` with its ``chance``, and the origins that speak ``against`` it."""

    standing: Standing
    answer: str
    chance: Decimal
    against: tuple[str, ...] = ()


def verdict(question: FinishQuestion, *, proven: Decimal, fair: Decimal) -> Verdict:
    """How ``question``, as `checked`, stands.

    Proven: the likeliest answer has at least the chance ``proven``, and a witness says so; no list proves itself.
    Contradicting: else, witnesses of strength ``fair`` or more say different things. Likely: else, it is likelier than all
    others together. Open: else.

    >>> red, black = Candidate("r", "red"), Candidate("b", "black")
    >>> verdict(FinishQuestion("r", (red, black)), proven=Decimal("0.9"), fair=Decimal(5)).standing.value
    'open'
    """
    chances = belief(question)
    answer = likeliest(chances)
    heard = witnesses(question.evidence)
    strong = [item for item in heard if item.strength >= fair]
    against = tuple(item.origin for item in strong if item.says != answer)
    if chances[answer] >= proven and any(item.says == answer for item in heard):
        standing = Standing.PROVEN
    elif len({item.says for item in strong}) > 1:
        standing = Standing.CONTRADICTING
    else:
        standing = Standing.LIKELY if 2 * chances[answer] > 1 else Standing.OPEN
    return Verdict(standing, answer, chances[answer], against)
