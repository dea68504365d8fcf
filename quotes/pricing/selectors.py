"""Reads of drafts and issued quotes."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext_lazy as _

from quotes.engine import inputs
from quotes.engine.chance import quoting
from quotes.engine.chance.assessment import Assessment
from quotes.engine.errors import BadInput
from quotes.engine.formulas import PRESENT
from quotes.engine.money import from_minor, places
from quotes.engine.results import Explained
from quotes.pricing.building import engine_input
from quotes.pricing.models import Draft, IssuedQuote, Outcome, Stage
from quotes.pricing.remembered import remembered
from shop.rereading import Memory
from shop.restorations.models import Restoration
from shop.routes.selectors import Scope, scope

#: Most pages of a restoration price the same draft, one after the other.
quote = remembered(quoting.quote, most=16)


@dataclass(frozen=True, slots=True)
class Priced:
    """A draft with its price, or with the reason why there is none."""

    draft: Draft
    scope: Scope
    given: inputs.Restoration | None
    explained: Explained | None
    error: BadInput | None
    assessment: Assessment | None = None


_drafts = Memory[Priced](most=16, frozen=(inputs.Restoration, Explained, Assessment))


def draft_of(restoration: Restoration) -> Draft | None:
    """The draft of a restoration, if it has one."""
    return Draft.objects.filter(restoration=restoration).first()


def priced(draft: Draft) -> Priced:
    """Price a draft from the rows as they are now."""
    return _drafts.ask(lambda: _priced(draft), given=(draft, PRESENT), own=(draft, draft.restoration))


def _priced(draft: Draft) -> Priced:
    found = scope(draft.restoration)
    try:
        quoted = quote(engine_input(found, draft))
        return Priced(draft, found, quoted.given, quoted.explained, None, quoted.assessment)
    except BadInput as error:
        return Priced(draft, found, None, None, error)


def issued() -> QuerySet[IssuedQuote]:
    """Every issued quote with its restoration, customer, outcome and PDF, and without what only recomputing needs."""
    rows = IssuedQuote.objects.select_related("restoration__customer", "outcome", "paper__document")
    return rows.defer("snapshot", "result", "variants")


def agreed_net(restoration: Restoration) -> Decimal | None:
    """What was accepted for a restoration so far, before tax: inspection, newest main offer, variations. None for nothing."""
    rows = restoration.quotes.filter(outcome__kind=Outcome.Kind.ACCEPTED).order_by("number")
    found = list(rows.values_list("stage", "net_minor", "currency"))
    if not found:
        return None
    main = [net for stage, net, _currency in found if stage == Stage.MAIN][-1:]
    beside = [net for stage, net, _currency in found if stage != Stage.MAIN]
    return from_minor(sum(main + beside), digits=places(found[-1][2]))


def quotes(restoration: Restoration) -> QuerySet[IssuedQuote]:
    """The issued quotes of a restoration, newest first, with outcome and PDF."""
    return restoration.quotes.select_related("outcome", "paper__document").order_by("-number")


def restorations() -> QuerySet[Restoration]:
    """All restorations with customer, machine, draft and quotes, for a list."""
    issued = Prefetch("quotes", IssuedQuote.objects.select_related("outcome").order_by("-number").defer(*HEAVY))
    return Restoration.objects.select_related("customer", "machine", "draft").prefetch_related(issued)


HEAVY = ("snapshot", "result", "offer", "variants")


def amount(quote: IssuedQuote, field: str) -> Decimal:
    """``price``, ``discount``, ``net``, ``tax`` or ``total`` of an issued quote as money."""
    return from_minor(getattr(quote, f"{field}_minor"), digits=places(quote.currency))


#: What a quote can be on a day, in words.
STANDINGS = {
    **dict(Outcome.Kind.choices),
    "open": _("open"),
    "lapsed": _("lapsed"),
    "replaced": _("replaced by a newer one"),
}


def standing(quote: IssuedQuote, today: date) -> str:
    """What a quote is today: its outcome, else ``lapsed`` after its validity, else ``open``."""
    outcome = getattr(quote, "outcome", None)
    if isinstance(outcome, Outcome):
        return outcome.kind
    return "lapsed" if today > quote.valid_until else "open"


def replaced_by(quote: IssuedQuote) -> IssuedQuote | None:
    """The newer quote that took the place of this one as it was issued; None for one that the shop withdrew by hand."""
    outcome = getattr(quote, "outcome", None)
    if not isinstance(outcome, Outcome) or outcome.kind != Outcome.Kind.WITHDRAWN:
        return None
    newer = IssuedQuote.objects.filter(restoration=quote.restoration_id, issued_at=outcome.at, number__gt=quote.number)
    return newer.only("uid", "number", "version", "stage", "issued_at").first()
