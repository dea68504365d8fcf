"""Settling a possible damage: what was agreed decides whether what it adds needs the customer's word."""

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
    found = None
    for quote in variations.agreed(damage.part.restoration).quotes:
        known = {item.uid: item for part in variations.snapshot(quote).parts for item in part.damages}
        item = known.get(str(damage.uid))
        if item is not None and item.treatment is inputs.Treatment.OURS:
            found = quote
    return found


@transaction.atomic
def settle(*, damage: PartDamage, settled: PartDamage.Settled, note: str = "", who: str, now: datetime) -> list[Step]:
    """Say once whether a damage was there; see `shop.routes.damages.settle` for what follows. Gives back the steps laid."""
    # Held first, so that an acceptance that comes at the same moment is seen or waits.
    hold_scope(damage.part.restoration_id)
    carried = carried_in(damage) is not None
    return damages.settle(damage=damage, settled=settled, note=note, carried=carried, who=who, now=now)
