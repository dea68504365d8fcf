"""Settling a possible damage: what was agreed decides whether what it adds needs the customer's word."""

from collections.abc import Collection
from datetime import datetime

from django.db import transaction

from quotes.engine import inputs
from quotes.pricing import variations
from quotes.pricing.models import IssuedQuote
from shop.restorations.models import PartDamage
from shop.restorations.services import hold_scope
from shop.routes import damages
from shop.routes.models import Step


def carried_in(damage: PartDamage) -> IssuedQuote | None:
    """The accepted quote in whose fixed price this damage is ours, found or not; None where there is none.

    What the quote says counts, not what somebody noted later: an accepted quote stays what it is.
    """
    quotes = variations.agreed(damage.part.restoration).quotes
    return next((quote for quote in reversed(quotes) if str(damage.uid) in _ours(quote)), None)


def found_for(agreed: variations.Agreed, parts: Collection[str]) -> list[PartDamage]:
    """Damages found on ``parts`` since the last of what was agreed was issued, which nobody carries: what a variation is for."""
    if not agreed.quotes:
        return []
    ours = set().union(*(_ours(quote) for quote in agreed.quotes))
    found = PartDamage.objects.filter(
        part__uid__in=parts,
        settled=PartDamage.Settled.FOUND,
        settled_at__gte=agreed.quotes[-1].issued_at,
        removed_at=None,
    )
    rows = found.select_related("part").order_by("part__position", "pk")
    return [row for row in rows if str(row.uid) not in ours]


def _ours(quote: IssuedQuote) -> set[str]:
    """The damages that are in the price of a quote, found or not, by uid."""
    every = (item for part in variations.snapshot(quote).parts for item in part.damages)
    return {item.uid for item in every if item.treatment is inputs.Treatment.OURS}


def agree(*, quote: IssuedQuote, now: datetime) -> None:
    """What was found while ``quote`` was open and is ours in it is paid for now: its steps need no other word.

    Inside the transaction that accepts the quote.
    """
    found = PartDamage.objects.filter(uid__in=_ours(quote), settled=PartDamage.Settled.FOUND, removed_at=None)
    for damage in found.order_by("pk"):
        damages.authorise_found(damage=damage, now=now)


@transaction.atomic
def settle(
    *,
    damage: PartDamage,
    settled: PartDamage.Settled,
    note: str = "",
    again: bool = False,
    who: str,
    now: datetime,
) -> list[Step]:
    """Say once whether a damage was there; see `shop.routes.damages.settle` for what follows. Gives back the steps laid."""
    # Held first, so that an acceptance that comes at the same moment is seen or waits.
    hold_scope(damage.part.restoration_id)
    carried = carried_in(damage) is not None
    return damages.settle(damage=damage, settled=settled, note=note, carried=carried, again=again, who=who, now=now)
