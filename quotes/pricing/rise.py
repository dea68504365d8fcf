"""Why a variation is not priced at what it makes the whole bike dearer by, in amounts that add up.

With F the whole bike, L what is new by itself and B the whole without it (all at today's rates), A what is agreed so far and
C what the variation credits, each before tax and after discount:

    variation − rise = (L − C) − (F − A) = [L + B − F] + [(A − C) − B]

The first bracket is what two goes cost more than one, cause by cause: see `quotes.engine.apart`. The second is the work agreed
before, which stands as agreed while the whole bike is priced anew. Each amount is rounded to the minor unit; what they and the
lines lose by that is an amount of its own.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from quotes.engine.apart import dearer
from quotes.engine.errors import BadInput
from quotes.engine.money import from_minor, places, rounded
from quotes.engine.results import CREDIT, Explained
from quotes.pricing import limiting
from quotes.pricing.models import Draft, IssuedQuote, Stage
from quotes.pricing.selectors import agreed_net, quote
from quotes.pricing.stages import Offered, offered

NONE = Decimal(0)
#: Causes of our own, besides those of `quotes.engine.apart`.
ANEW, ROUNDING = "anew", "rounding"


@dataclass(frozen=True, slots=True)
class Share:
    """How much one cause makes the variation dearer than the rise [money before tax], and the work behind it."""

    cause: str
    amount: Decimal
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rise:
    """What a variation comes to, the whole bike and what is agreed of it [money before tax], and the shares between."""

    variation: Decimal
    whole: Decimal
    agreed: Decimal
    shares: tuple[Share, ...]

    def __post_init__(self) -> None:
        """Refuse shares that do not add up."""
        if self.difference != sum((share.amount for share in self.shares), NONE):
            raise AssertionError("the shares do not lead from the rise to the variation")

    @property
    def rise(self) -> Decimal:
        """By how much the whole bike, priced now, is dearer than what is agreed."""
        return self.whole - self.agreed

    @property
    def difference(self) -> Decimal:
        """By how much the variation is dearer than that."""
        return self.variation - self.rise


def of_offer(offer: Offered) -> Rise | None:
    """Of a draft at the stage of a variation; None at every other, and where something cannot be priced."""
    whole, alone = offer.whole, offer.found
    if (
        whole is None
        or whole.given is None
        or whole.explained is None
        or alone.given is None
        or alone.explained is None
    ):
        return None
    before = agreed_net(alone.scope.restoration)
    if before is None:
        return None
    new = {step.uid for part in alone.given.parts for step in part.steps}
    try:
        rest = quote(limiting.without(whole.given, new)).explained
    except BadInput:
        return None
    policy, kept = whole.given.policy, 1 - whole.given.discount
    digits = places(policy.currency)
    shares = [
        Share(item.cause, rounded(item.amount * kept, digits=digits, rule=policy.rounding), item.names)
        for item in dearer((whole.given, whole.explained), (alone.explained, rest))
    ]
    credited = -sum(_nets(alone.explained, credited=True), NONE)
    shares.append(Share(ANEW, before - credited - sum(_nets(rest), NONE)))
    variation, now = alone.explained.result.net, sum(_nets(whole.explained), NONE)
    known = sum((share.amount for share in shares), NONE)
    shares.append(Share(ROUNDING, variation - (now - before) - known))
    return Rise(variation, now, before, tuple(share for share in shares if share.amount))


def _nets(explained: Explained, *, credited: bool = False) -> Iterator[Decimal]:
    """Of the lines, without what is credited; or of that alone."""
    return (line.net for line in explained.result.lines if (line.basis == CREDIT) is credited)


def of_quote(issued: IssuedQuote) -> Rise | None:
    """Of a variation that is out, while nothing has changed since: the figures of today must explain the price it has."""
    if issued.stage != Stage.VARIATION or hasattr(issued, "outcome"):
        return None
    draft = Draft.objects.select_related("restoration").filter(restoration=issued.restoration_id).first()
    if draft is None or draft.restoration.scope_version != issued.scope_version:
        return None
    draft.stage = Stage.VARIATION
    found = of_offer(offered(draft))
    net = from_minor(issued.net_minor, digits=places(issued.currency))
    return found if found is not None and found.variation == net else None
