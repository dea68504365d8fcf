"""Finishes in a quote that depart from what the factory did, and what the customer signs for with them."""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from quotes.engine import canonical, inputs
from quotes.pricing.models import IssuedQuote
from quotes.pricing.offer import Offer, OfferLine, finish_text
from quotes.pricing.paper import offer_of
from shop.methods.models import Finish
from shop.restorations.models import FinishAgreement, Part
from shop.routes.finishes import note_signed

LONGEST = 200


@dataclass(frozen=True, slots=True)
class Deviation:
    """A line of a quote whose agreed finish is not the factory's; ``key`` is what a form sends back for it."""

    key: str
    part: str
    finish: str
    deviation: str


def deviations(offer: Offer) -> list[Deviation]:
    """All of an offer, in the order of its lines."""
    return [Deviation(line.uid, line.part, line.finish, line.deviation) for line in _lines(offer)]


def _lines(offer: Offer) -> list[OfferLine]:
    return [line for area in offer.areas for line in area.lines if line.deviation]


def sign(*, quote: IssuedQuote, who_agreed: str, said_on: date, who: str, now: datetime) -> None:
    """Note for every deviation of ``quote`` that the customer signed for it on their page, inside the running transaction."""
    lines = _lines(offer_of(quote))
    if not lines:
        return
    parts = {str(part.uid): part for part in Part.objects.filter(uid__in=[UUID(line.uid) for line in lines])}
    finishes = _frozen_finishes(quote)
    for line in lines:
        finish = finishes.get(line.uid) or _by_words(parts[line.uid], line)
        if finish is None:  # nobody can say any more which row it was; the quote itself keeps the words
            continue
        note_signed(
            part=parts[line.uid],
            finish=finish,
            deviation=line.deviation[:LONGEST],
            who_agreed=who_agreed,
            how=FinishAgreement.How.ONLINE,
            said_on=said_on,
            who=who,
            now=now,
        )


def _frozen_finishes(quote: IssuedQuote) -> dict[str, Finish]:
    """The finish that the frozen steps of each part put on: by now the part may be meant to get another one."""
    given = canonical.load(inputs.Restoration, quote.snapshot.encode())
    keys = {part.uid: step.process for part in given.parts for step in part.steps if step.process}
    known = Finish.objects.in_bulk([int(key) for key in set(keys.values())])
    return {uid: known[int(key)] for uid, key in keys.items() if int(key) in known}


def _by_words(part: Part, line: OfferLine) -> Finish | None:
    """A finish without steps of its own, as long as the part still has what the quote says."""
    finish = part.agreed_finish
    return finish if finish and finish_text(finish) == line.finish else None
