"""Damage found, or not: what was agreed decides whether what it adds needs the customer's word."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext_lazy

from quotes.engine import inputs
from quotes.pricing import variations
from quotes.pricing.models import IssuedQuote, Outcome
from shop.methods.models import PossibleDamage
from shop.papers.models import Photograph
from shop.restorations.damage import add_photograph, list_found
from shop.restorations.models import Part, PartDamage, Restoration
from shop.restorations.services import hold_scope
from shop.routes import damages
from shop.routes.models import Step

NO_NAME = gettext_lazy("Say in a few words what is damaged, or choose from the list.")


def carried_in(damage: PartDamage) -> IssuedQuote | None:
    """The accepted quote in whose fixed price this damage is ours, found or not; None where there is none.

    What the quote says counts, not what somebody noted later: an accepted quote stays what it is.
    """
    quotes = variations.agreed(damage.part.restoration).quotes
    return next((quote for quote in reversed(quotes) if str(damage.uid) in _ours(quote)), None)


def is_stripped(restoration: Restoration) -> bool:
    """Whether the customer has agreed that the bike be taken apart: from then on damage is found."""
    return restoration.quotes.filter(outcome__kind=Outcome.Kind.ACCEPTED).exists()


def found_for(agreed: variations.Agreed, parts: Collection[str]) -> list[PartDamage]:
    """Damages found on ``parts`` since the last of what was agreed was issued, which no agreed price holds: what a variation is for."""
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


@transaction.atomic
def found(
    *,
    part: Part,
    uid: UUID,
    what: PartDamage | PossibleDamage | None,
    name: str = "",
    note: str,
    again: bool = False,
    photograph: Photograph | None = None,
    who: str,
    now: datetime,
) -> tuple[PartDamage, list[Step]]:
    """Say in one step that a damage is there, with what was seen: see `settle` for what follows. Gives back the steps laid.

    ``what`` is a damage on the list of the part, one the library knows, or None for one with a ``name`` of its own. What
    was on the list is paid as agreed there; what was not is provisional. ``uid`` is that of the form: sent twice, it is
    found once. Raises `ValidationError` at ``what``, ``name`` or ``note``.
    """
    hold_scope(part.restoration_id)
    before = PartDamage.objects.filter(uid=uid).first()
    if before is not None and before.part_id == part.pk:
        return before, []
    if what is None and not name.strip():
        raise ValidationError({"name": NO_NAME})
    own = uid if before is None else uuid4()
    damage = what if isinstance(what, PartDamage) else list_found(part=part, uid=own, usual=what, name=name)
    steps = settle(damage=damage, settled=PartDamage.Settled.FOUND, note=note, again=again, who=who, now=now)
    if photograph is not None:
        add_photograph(damage=damage, photograph=photograph, who=who, now=now)
    return damage, steps
