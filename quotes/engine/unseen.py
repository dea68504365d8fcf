"""What nobody can see yet on a part: possible damage, and which finish it had."""

from collections.abc import Sequence

from quotes.engine import damage, evidence, wrong_finish
from quotes.engine.book import Book
from quotes.engine.costs import done_alone, member_of
from quotes.engine.errors import BadInput
from quotes.engine.figures import total
from quotes.engine.inputs import Candidate, Damage, FinishQuestion, Part, Remedy, Step
from quotes.engine.results import NOTHING, Unseen, Visit, together


def unseen_of(book: Book, parts: Sequence[Part]) -> dict[str, Unseen]:
    """Part uid to what nobody can see on it yet; parts without are not there."""
    result = {}
    for part in parts:
        damages = damage.ours(part)
        if damages or (part.question is not None and part.pieces):
            result[part.uid] = _unseen_of(book, part, damages)
    return result


def _unseen_of(book: Book, part: Part, damages: Sequence[Damage]) -> Unseen:
    figures = [damage.figure(book, item) for item in damages]
    visits = [damage.visit(book, item, figure.value) for item, figure in zip(damages, figures, strict=True)]
    found = Unseen(
        damage=together(visits) if visits else NOTHING,
        damages=total("possible damage", book.policy.currency, tuple(figures)) if figures else None,
        branches=tuple(damage.branch(part, item) for item in damages),
    )
    return found if part.question is None else _with_finish(book, part, part.question, found)


def _with_finish(book: Book, part: Part, question: FinishQuestion, found: Unseen) -> Unseen:
    try:
        belief = book.formulas["belief"](evidence.checked(wrong_finish.checked(question)))
    except BadInput as error:
        raise error.at(part=part.name) from None
    costs = {
        item.key: (_works(book, part, item, item.apply), _works(book, part, item, item.remove))
        for item in question.candidates
    }
    table = wrong_finish.losses(question, costs)
    wrong = wrong_finish.of_chosen(question, belief, table)
    happens = wrong_finish.branch(part, belief, wrong)
    return found._replace(
        finish=wrong_finish.visit(question, belief, wrong),
        finishes=wrong_finish.figure(book, part, belief, wrong),
        branches=(*found.branches, happens) if happens else found.branches,
        belief=belief,
        losses={pair: visit.cost for pair, visit in table.items()},
    )


def _works(book: Book, part: Part, candidate: Candidate, works: Sequence[Remedy]) -> Visit:
    """What putting a finish on, or taking it off, costs a part by itself."""
    visits = []
    for work in works:
        step = Step(part.uid, candidate.name, work.work, work.ref)
        visits.append(done_alone(book, member_of(part, step, book))[0])
    return together(visits)
