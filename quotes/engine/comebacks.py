"""What is kept in a price for bikes that come back after hand-over: a share of what they are expected to cost."""

from decimal import Decimal

from quotes.engine.book import Book
from quotes.engine.figures import Figure, computed, given
from quotes.engine.formulas import variant
from quotes.engine.results import NOTHING, Visit

NAME = "kept for comebacks"


@variant("comebacks_1", "expected cost × what the policy keeps for comebacks")
def kept(expected: Decimal, share: Decimal) -> Decimal:
    """What is kept [money] of an ``expected`` cost [money], with its rework, possible damage and wrong finish.

    ``share`` is a fraction; nothing is rounded. A cost class at a time, so that each line keeps its part of the whole pro
    rata and sells it at the margins of what it costs. Common practice 1-3 % of the price, no source.

    >>> kept(Decimal("1250.50"), Decimal("0.02"))
    Decimal('25.0100')
    """
    return expected * share


def visit(book: Book, expected: Visit) -> Visit:
    """What is kept by cost class; nobody's minutes are planned for it."""
    share = book.policy.comebacks
    if not share:
        return NOTHING
    keep = book.formulas["comebacks"]
    _minutes, *amounts = expected
    return Visit(Decimal(0), *(keep(amount, share) for amount in amounts))


def figure(book: Book, expected: Figure, amount: Decimal) -> Figure:
    """The ``amount`` kept of an ``expected`` cost."""
    policy = book.policy
    share = given("kept of expected cost", policy.comebacks, "", policy.source)
    return computed(NAME, amount, policy.currency, book.variants["comebacks"], (expected, share))
