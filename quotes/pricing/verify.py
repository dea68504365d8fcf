"""Does every issued quote still say what it said? Recomputed from its frozen inputs, to the last minor unit."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from quotes.engine import canonical, inputs, rollup
from quotes.engine.errors import BadInput
from quotes.engine.formulas import PRESENT
from quotes.engine.money import places, rounded, to_minor
from quotes.engine.results import CREDIT, Explained, Result
from quotes.pricing import variations
from quotes.pricing.models import IssuedQuote, Stage
from quotes.pricing.offer import Offer
from quotes.pricing.stages import fee_credits, reach
from shop.papers.models import Document
from shop.papers.selectors import DocumentDamaged, content


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found wrong with a quote."""

    quote: str
    what: str


@dataclass(frozen=True, slots=True)
class Recomputed:
    """An issued quote worked out anew from its frozen inputs, with the formulas of its day; or why it cannot be.

    ``present`` is what the present formulas would make of it, where they differ.
    """

    given: inputs.Restoration | None = None
    explained: Explained | None = None
    agrees: bool = False
    present: Result | None = None
    trouble: str = ""

    @property
    def present_cost(self) -> Decimal:
        """The expected cost by the present method, in whole minor units."""
        assert self.present is not None
        assert self.given is not None
        return rounded(self.present.cost, digits=places(self.given.policy.currency))


def recomputed(quote: IssuedQuote) -> Recomputed:
    """Never raises: what is kept may have been damaged in any way."""
    try:
        given = canonical.load(inputs.Restoration, quote.snapshot.encode())
        variants = json.loads(quote.variants)
        explained = rollup.price(given, variants)
    except BadInput as error:
        return Recomputed(trouble=str(error))
    except Exception as error:
        return Recomputed(trouble=f"{type(error).__name__}: {error}")
    agrees = canonical.dump(explained.result).decode() == quote.result
    return Recomputed(given, explained, agrees, None if variants == PRESENT else _by_present_method(given))


def _by_present_method(given: inputs.Restoration) -> Result | None:
    try:
        return rollup.price(given).result
    except BadInput:  # what was good enough for an earlier formula
        return None


def verify(quote: IssuedQuote) -> Iterator[Finding]:
    """Everything that does not agree in one quote; nothing when all does."""
    for what in _differences(quote):
        yield Finding(str(quote), what)


def _differences(quote: IssuedQuote) -> Iterator[str]:
    for name in ("snapshot", "result", "offer"):
        if canonical.sha256(getattr(quote, name).encode()) != getattr(quote, f"{name}_sha256"):
            yield f"the {name} is not the one that was issued"
    found = recomputed(quote)
    if found.explained is None or found.given is None:
        yield f"it cannot be recomputed: {found.trouble}"
        return
    given, again = found.given, found.explained.result
    try:
        offer = canonical.load(Offer, quote.offer.encode())
    except Exception as error:
        yield f"what the customer reads cannot be read any more: {type(error).__name__}: {error}"
        return
    if not found.agrees:
        yield "recomputed from its inputs it comes to other figures"
    yield from _columns(quote, again)
    yield from _scope(quote, given)
    yield from _offered(offer, again)
    yield from _range(offer, given, quote)
    yield from _head(quote, offer)
    yield from _credits(quote, given)
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


def _scope(quote: IssuedQuote, given: inputs.Restoration) -> Iterator[str]:
    offered = {(str(step.step_uid), str(step.part_uid)) for step in quote.steps.all()}
    if offered != {(step.uid, part.uid) for part in given.parts for step in part.steps}:
        yield "the steps it authorises are not those that were priced"


def _head(quote: IssuedQuote, offer: Offer) -> Iterator[str]:
    told = (offer.number, offer.version, offer.valid_until, offer.currency, offer.record)
    record = f"{quote.journal_position}:{quote.journal_hash}"
    if told != (str(quote), quote.version, quote.valid_until.isoformat(), quote.currency, record):
        yield "its number, version, validity or record is not what the customer reads"
    if (offer.stage, offer.varies) != (quote.stage, str(quote.varies or "")):
        yield "its stage, or the quote it varies, is not what the customer reads"


def _offered(offer: Offer, again: Result) -> Iterator[str]:
    lines = [line.price for area in offer.areas for line in area.lines]
    lines += [-credit.amount for credit in offer.credits]
    if sorted(lines) != sorted(line.price for line in again.lines) or sum(lines, Decimal(0)) != again.price:
        yield "the lines the customer reads are not what its inputs give"
    if (offer.total, offer.net, offer.discount) != (again.total, again.net, again.discount):
        yield "the total the customer reads is not what its inputs give"
    promised = sorted((line.uid, line.basis, line.cap) for area in offer.areas for line in area.lines)
    if promised != sorted((line.uid, line.basis, line.cap) for line in again.lines if line.basis != CREDIT):
        yield "what each line promises is not what its inputs give"
    damages = [(item.part, item.name, item.price) for item in (*offer.provisional, *offer.excluded)]
    wanted: list[tuple[str, str, Decimal | None]] = [(item.part, item.name, item.price) for item in again.provisional]
    wanted += [(item.part, item.name, None) for item in again.excluded]
    if damages != wanted:
        yield "the possible damage the customer reads of is not what its inputs give"


def _range(offer: Offer, given: inputs.Restoration, quote: IssuedQuote) -> Iterator[str]:
    wanted = reach(given, json.loads(quote.variants)) if quote.stage == Stage.BALLPARK else (None, None)
    if (offer.low, offer.high) != wanted:
        yield "the range the customer reads is not what its inputs give"


def _credits(quote: IssuedQuote, given: inputs.Restoration) -> Iterator[str]:
    """What is credited is what was paid, or what the steps left out contributed to the quote they were agreed in."""
    if quote.stage == Stage.VARIATION:
        agreed = variations.agreed(quote.restoration, before=quote)
        gone = frozenset(variations.credited_steps(quote))
        if _plain(variations.credits_for(variations.Difference(agreed, left_out=gone))) != _plain(given.credits):
            yield "what it credits is not what was agreed before"
    elif quote.credits is not None:
        paid = _plain(fee_credits(quote.credits))
        if not paid <= _plain(given.credits):
            yield "the fee it credits is not the one that was agreed"
    elif given.credits:
        yield "it credits a fee and does not say of which quote"


def _plain(found: Iterable[inputs.Credit]) -> set[tuple[str, Decimal, str]]:
    """Credits without their words, which follow the language of the shop."""
    return {(credit.uid, credit.amount, credit.tax) for credit in found}


def _paper(quote: IssuedQuote) -> Iterator[str]:
    paper = getattr(quote, "paper", None)
    document = getattr(paper, "document", None)
    if isinstance(document, Document):
        try:
            content(document)
        except DocumentDamaged as damage:
            yield f"its PDF is not the one that was made: {damage}"
