"""What it costs to put on a finish that was not the factory's: taken off again, and the right one put on. Once."""

from collections.abc import Mapping
from decimal import Decimal

from quotes.engine.book import Book
from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, computed, given
from quotes.engine.formulas import variant
from quotes.engine.inputs import NONE_OF_THESE, ZERO, FinishQuestion, Part
from quotes.engine.results import Branch, Visit, together

#: Candidate to what putting it on costs, and to what taking it off costs.
Costs = Mapping[str, tuple[Visit, Visit]]


@variant(
    "wrong_finish_1", "Σ chance that another was right × (taking off + putting that on) × chance that it is noticed"
)
def expected(chances: Mapping[str, Decimal], losses: Mapping[str, Decimal], noticed: Decimal) -> Decimal:
    """Expected cost [money] of the chosen finish; ``losses`` [money] by the finish that was right.

    >>> expected({"red": Decimal("0.2"), "black": Decimal("0.8")}, {"red": Decimal(100)}, Decimal(1))
    Decimal('20.0')
    """
    return sum((chances[right] * loss for right, loss in losses.items()), ZERO) * noticed


def checked(question: FinishQuestion, *, part: str = "") -> FinishQuestion:
    """``question`` if the finish to be put on is one of those listed and the chance of noticing is one, else `BadInput`."""
    if question.chosen not in {candidate.key for candidate in question.candidates}:
        raise BadInput(
            "The agreed finish is not among those it may have had. List it, or note that the customer wants another.",
            part=part,
            field="agreed_finish",
        )
    if not 0 <= question.noticed <= 1:
        raise BadInput(
            "A wrong finish is noticed with a chance of {chance}. Give 0 to 1.",
            part=part,
            field="noticed",
            chance=question.noticed,
        )
    return question


def losses(question: FinishQuestion, costs: Costs) -> dict[tuple[str, str], Visit]:
    """What putting on one finish costs when another was right, beyond putting on the first: (put on, right) to visit.

    When none of those listed was right, the right one is taken to cost what the others cost on average.
    """
    keys = [candidate.key for candidate in question.candidates]
    table = {}
    for put_on in keys:
        others = [costs[key][0] for key in keys if key != put_on] or [costs[put_on][0]]
        unknown = together(others).times(1 / Decimal(len(others)))
        off = costs[put_on][1]
        table[put_on, NONE_OF_THESE] = off.plus(unknown)
        for right in keys:
            table[put_on, right] = Visit() if right == put_on else off.plus(costs[right][0])
    return table


def of_chosen(
    question: FinishQuestion, belief: Mapping[str, Decimal], table: Mapping[tuple[str, str], Visit]
) -> dict[str, Visit]:
    """What the chosen finish costs when another was right: right to visit, for what can be."""
    return {
        right: table[question.chosen, right] for right, chance in belief.items() if right != question.chosen and chance
    }


def visit(question: FinishQuestion, belief: Mapping[str, Decimal], wrong: Mapping[str, Visit]) -> Visit:
    """The expected cost by class."""
    return together(item.times(belief[right] * question.noticed) for right, item in wrong.items())


def figure(book: Book, part: Part, belief: Mapping[str, Decimal], wrong: Mapping[str, Visit]) -> Figure:
    """The expected cost with what it came from."""
    assert part.question is not None
    question, currency = part.question, book.policy.currency
    names = {candidate.key: candidate.name for candidate in question.candidates} | {NONE_OF_THESE: "none of these"}
    costs = {right: item.cost for right, item in wrong.items()}
    source = "finish evidence of this part"
    inputs = [given("chance that it is noticed", question.noticed, "", source)]
    for right, cost in costs.items():
        inputs.append(given(f"chance that it was {names[right]}", belief[right], "", source))
        inputs.append(given(f"taking it off and putting on {names[right]}", cost, currency, "steps of both finishes"))
    value = book.formulas["wrong_finish"](belief, costs, question.noticed)
    return computed("wrong finish", value, currency, book.variants["wrong_finish"], tuple(inputs))


def branch(part: Part, belief: Mapping[str, Decimal], wrong: Mapping[str, Visit]) -> Branch | None:
    """The wrong finish as an event: its chance, and what it then costs on average. None when it cannot happen."""
    assert part.question is not None
    chance = sum((belief[right] for right in wrong), ZERO)
    if not chance or not part.question.noticed:
        return None
    cost = sum((belief[right] * item.cost for right, item in wrong.items()), ZERO) / chance
    uid = f"finish {part.uid}"
    return Branch(uid, part.uid, "wrong finish", chance * part.question.noticed, cost, cost, cost)
