"""What a change of the rate book would do to open drafts, worked out by the engine before it is made.

Nothing is written: the change is imagined (`shop.methods.dated.imagining`), and every figure is the draft priced as ever.
"""

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from quotes.pricing.models import Draft, IssuedQuote, Outcome, Stage
from quotes.pricing.stages import offered
from shop.methods.dated import imagining


@dataclass(frozen=True, slots=True)
class Sum:
    """What a draft comes to with tax, or why it comes to nothing."""

    total: Decimal | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Effect:
    """A draft as it stands, and priced anew on ``day``, each without the change and with it.

    ``stands_with`` differs from ``stands`` only where the change reaches back to the day the draft is priced on.
    """

    draft: Draft
    day: date
    stands: Sum
    stands_with: Sum
    anew: Sum
    anew_with: Sum

    @property
    def moves(self) -> bool:
        """Whether the draft comes to something else at once."""
        return self.stands != self.stands_with

    @property
    def more(self) -> Decimal | None:
        """What pricing anew brings with the change, over pricing anew without it."""
        if self.anew.total is None or self.anew_with.total is None:
            return None
        return self.anew_with.total - self.anew.total


def open_drafts() -> QuerySet[Draft]:
    """Drafts whose price can still change: of bikes without an accepted main offer, or whose scope has moved since."""
    accepted = IssuedQuote.objects.filter(
        restoration=OuterRef("restoration"), stage=Stage.MAIN, outcome__kind=Outcome.Kind.ACCEPTED
    )
    moved = accepted.filter(scope_version__lt=OuterRef("restoration__scope_version"))
    rows = Draft.objects.filter(~Exists(accepted) | Exists(moved))
    return rows.select_related("restoration__customer", "restoration__machine").order_by("restoration__title", "pk")


@dataclass(frozen=True, slots=True)
class Reach:
    """How many open drafts take a change in as soon as it is noted, and how many keep what they say until priced anew."""

    at_once: int
    kept: int


def reach(valid_from: date, *, later: date | None) -> Reach:
    """Of a change from ``valid_from`` on; ``later`` is the day from which another revision holds instead of it.

    A draft is priced by what holds on its own day.
    """
    days = list(open_drafts().values_list("priced_on", flat=True))
    at_once = sum(valid_from <= day and (later is None or day < later) for day in days)
    return Reach(at_once, len(days) - at_once)


def effect(draft: Draft, imagine: Callable[[], object], *, valid_from: date, today: date) -> Effect:
    """``imagine`` notes the change; it is called where nothing is kept."""
    day = max(today, valid_from)
    stands = _on(draft, draft.priced_on)
    anew = stands if draft.priced_on == day else _on(draft, day)
    with imagining():
        imagine()
        anew_with = _on(draft, day)
        stands_with = stands
        if draft.priced_on >= valid_from:
            stands_with = anew_with if draft.priced_on == day else _on(draft, draft.priced_on)
    return Effect(draft, day, stands, stands_with, anew, anew_with)


def _on(draft: Draft, day: date) -> Sum:
    dated = copy(draft)
    dated.priced_on = day
    found = offered(dated).found
    if found.explained is None:
        assert found.error is not None
        return Sum(None, found.error.sentence(_(found.error.template)))
    return Sum(found.explained.result.total)
