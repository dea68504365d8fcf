"""What pricing tells the routes about money: what was received and is late, and what the steps come to that leave the house."""

import json
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.utils import timezone

from quotes.engine import inputs, rollup
from quotes.engine.money import places, rounded, to_minor
from quotes.engine.pricing import price_of_cost
from quotes.engine.results import StepResult
from quotes.pricing import variations
from quotes.pricing.models import IssuedQuote
from quotes.pricing.money import money_in
from shop.restorations.models import Restoration
from shop.routes import funding
from shop.routes.models import Funding

MENDED_AT_ONCE = 200
NONE = Decimal(0)


def refresh(*, restoration: Restoration, today: date, now: datetime) -> Funding:
    """Write what was received and what is late ``today``; called whenever a receipt or an instalment changed."""
    return funding.write_funding(restoration=restoration, funds=funds(restoration, today), now=now)


def funds(restoration: Restoration, today: date) -> funding.Funds:
    """The same, for a look: nothing is written."""
    return of_standing(money_in.standing(restoration, today))


def of_standing(standing: money_in.Standing) -> funding.Funds:
    """What the routes need of a standing."""
    digits = places(standing.currency)
    return funding.Funds(to_minor(standing.received, digits=digits), to_minor(standing.late, digits=digits))


def write(restoration: Restoration, now: datetime) -> None:
    """How the routes have it written anew."""
    refresh(restoration=restoration, today=timezone.localdate(now), now=now)


def mend(*, now: datetime) -> None:
    """Write anew what was written on an earlier day: meanwhile something may have become late."""
    midnight = timezone.localtime(now).replace(hour=0, minute=0, second=0, microsecond=0)
    stale = Funding.objects.filter(at__lt=midnight).select_related("restoration").order_by("at")
    for row in stale[:MENDED_AT_ONCE]:
        write(row.restoration, now)


def prices(restoration: Restoration) -> dict[UUID, int]:
    """Step uid to what the customer pays for its vendor work or purchase by the accepted quotes [minor units with tax].

    The first pass of the step: what is allowed for doing it again stays with the shop. Recomputed from what was frozen.
    """
    agreed = variations.agreed(restoration)
    found: dict[UUID, int] = {}
    for quote in agreed.quotes:
        own = {str(uid) for uid, of in agreed.steps.items() if of.pk == quote.pk}
        found |= {UUID(uid): minor for uid, minor in _prices(quote).items() if uid in own}
    return found


def _prices(quote: IssuedQuote) -> dict[str, int]:
    given = variations.snapshot(quote)
    explained = rollup.price(given, json.loads(quote.variants))
    parts = {part.uid: part for part in given.parts}
    rates = {tax.code: tax.rate for tax in given.taxes}
    digits = places(quote.currency)
    found = {}
    for step in explained.steps:
        net = _net(given, step)
        if net:
            amount = net * (1 + rates[parts[step.part].tax])
            found[step.uid] = to_minor(rounded(amount, digits=digits, rule=given.policy.rounding), digits=digits)
    return found


def _net(given: inputs.Restoration, step: StepResult) -> Decimal:
    """What the vendor's charge or the bought-in part sells at, less the discount [money before tax]."""
    policy = given.policy
    pairs = ((step.first.vendor, policy.vendor_margin), (step.first.bought_in, policy.bought_in_margin))
    return sum((price_of_cost(cost, margin) for cost, margin in pairs if cost), NONE) * (1 - given.discount)
