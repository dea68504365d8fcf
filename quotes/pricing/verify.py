"""Does every issued quote still say what it said? Recomputed from its frozen inputs, to the last minor unit."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from quotes.engine import canonical, inputs, rollup
from quotes.engine.money import places, to_minor
from quotes.engine.results import Result
from quotes.pricing.models import IssuedQuote
from quotes.pricing.offer import Offer
from shop.papers.models import Document
from shop.papers.selectors import DocumentDamaged, content


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found wrong with a quote."""

    quote: str
    what: str


def verify(quote: IssuedQuote) -> Iterator[Finding]:
    """Everything that does not agree in one quote; nothing when all does."""
    for what in _differences(quote):
        yield Finding(str(quote), what)


def _differences(quote: IssuedQuote) -> Iterator[str]:
    for name in ("snapshot", "result", "offer"):
        if canonical.sha256(getattr(quote, name).encode()) != getattr(quote, f"{name}_sha256"):
            yield f"the {name} is not the one that was issued"
    try:
        given = canonical.load(inputs.Restoration, quote.snapshot.encode())
        variants = json.loads(quote.variants)
        again = rollup.price(given, variants).result
        offer = canonical.load(Offer, quote.offer.encode())
    except Exception as error:
        yield f"it cannot be recomputed: {error}"
        return
    if canonical.dump(again).decode() != quote.result:
        yield "recomputed from its inputs it comes to other figures"
    yield from _columns(quote, again)
    yield from _offered(offer, again)
    yield from _paper(quote)


def _columns(quote: IssuedQuote, again: Result) -> Iterator[str]:
    digits = places(quote.currency)
    for name in ("price", "discount", "net", "tax", "total"):
        if to_minor(getattr(again, name), digits=digits) != getattr(quote, f"{name}_minor"):
            yield f"its {name} is not what its inputs give"
    shown = [(str(line.part_uid), line.price_minor, line.net_minor) for line in quote.lines.all()]
    wanted = [
        (line.uid, to_minor(line.price, digits=digits), to_minor(line.net, digits=digits)) for line in again.lines
    ]
    if shown != wanted:
        yield "its lines are not what its inputs give"


def _offered(offer: Offer, again: Result) -> Iterator[str]:
    lines = [line.price for area in offer.areas for line in area.lines]
    if sorted(lines) != sorted(line.price for line in again.lines) or sum(lines, Decimal(0)) != again.price:
        yield "the lines the customer reads are not what its inputs give"
    if (offer.total, offer.net, offer.discount) != (again.total, again.net, again.discount):
        yield "the total the customer reads is not what its inputs give"


def _paper(quote: IssuedQuote) -> Iterator[str]:
    paper = getattr(quote, "paper", None)
    document = getattr(paper, "document", None)
    if isinstance(document, Document):
        try:
            content(document)
        except DocumentDamaged as damage:
            yield f"its PDF is not the one that was made: {damage}"
