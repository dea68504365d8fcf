"""What a draft offers at its stage: a ballpark, strip and inspect, the main offer, a variation.

- Ballpark: everything in scope as a range. No offer: nobody can accept it, and it authorises nothing.
- Strip and inspect: the steps that belong to it and nobody has agreed to yet, for exactly the fee in the rate book. The
  fee is credited against the main offer when that is accepted within the days the rate book gives, counted from the day
  the inspection was accepted; the days are those its paper said.
- Main offer: everything in scope, less the fees that are still to be credited. It is valid no longer than they are.
- Variation: what differs from what was agreed. See `quotes.pricing.variations`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from uuid import uuid5

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.engine import inputs, rollup
from quotes.engine.chance import quoting
from quotes.engine.errors import BadInput
from quotes.engine.money import from_minor, places
from quotes.pricing import limiting, variations
from quotes.pricing.models import Draft, IssuedQuote, Outcome, Stage
from quotes.pricing.paper import offer_of
from quotes.pricing.selectors import Priced, priced
from shop.rates.models import PaymentStage
from shop.rates.selectors import odds
from shop.restorations.models import Restoration
from shop.routes.models import Authorisation
from shop.routes.selectors import Scope

Event = PaymentStage.Event
WHOLE = Decimal(100)
TEN = Decimal(10)


@dataclass(frozen=True, slots=True)
class Offered:
    """What goes out at the draft's stage, or why it cannot (``found.error``).

    ``varies`` is the quote it varies and ``whole`` the bike priced in all; ``credits`` the quote whose fee it credits, until
    ``last_day``. ``low`` and ``high`` are a ballpark's range [money with tax].
    """

    found: Priced
    varies: IssuedQuote | None = None
    credits: IssuedQuote | None = None
    last_day: date | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    credit_days: int = 0
    whole: Priced | None = None


def offered(draft: Draft) -> Offered:
    """The draft priced as its stage offers it, from the rows as they are now."""
    found = priced(draft)
    if found.given is None:
        return Offered(found)
    try:
        return _OF_STAGE[Stage(draft.stage)](found, found.given)
    except BadInput as error:
        return Offered(replace(found, given=None, explained=None, error=error))


def _anew(found: Priced, given: inputs.Restoration) -> Priced:
    """The same draft with ``given`` priced as it is, shares of the contingency included."""
    return replace(found, given=given, explained=rollup.price(given))


# -- ballpark ------------------------------------------------------------------------------------------------------


def _ballpark(found: Priced, given: inputs.Restoration) -> Offered:
    low, high = reach(given)
    return Offered(found, low=low, high=high)


def reach(given: inputs.Restoration, variants: Mapping[str, str] | None = None) -> tuple[Decimal, Decimal]:
    """From what it comes to when strip-down reveals nothing, to what it comes to when all that is listed is found.

    [money with tax], rounded outwards to a tenth of the distance. Nothing found: no possible damage, no doubt about a
    finish, no contingency. All found: every damage that is not excluded at its full price, on top of the contingency.
    """
    found = _each_if_found(given)
    least = rollup.price(replace(found, parts=tuple(map(_nothing_to_fear, found.parts))), variants).result
    most = rollup.price(found, variants).result
    if_found = sum((item.price for item in most.provisional), inputs.ZERO)
    taxed = most.total / most.net if most.net else inputs.ONE
    return _coarse(least.total, most.total + if_found * taxed)


def _each_if_found(given: inputs.Restoration) -> inputs.Restoration:
    """What is ours as what is charged if found, so that each damage gets a price of its own."""
    parts = tuple(replace(part, damages=tuple(map(_if_found, part.damages))) for part in given.parts)
    return replace(given, parts=parts)


def _if_found(damage: inputs.Damage) -> inputs.Damage:
    ours = damage.treatment is inputs.Treatment.OURS
    return replace(damage, treatment=inputs.Treatment.PROVISIONAL) if ours else damage


def _nothing_to_fear(part: inputs.Part) -> inputs.Part:
    return replace(part, question=None, contingency=inputs.ZERO)


def _coarse(low: Decimal, high: Decimal) -> tuple[Decimal, Decimal]:
    """Rounded outwards to a power of ten: a tenth of the distance, or two figures where there is none."""
    size = (high - low) or high
    step = TEN ** (size.adjusted() - 1)
    return (low / step).to_integral_value(ROUND_FLOOR) * step, (high / step).to_integral_value(ROUND_CEILING) * step


# -- strip and inspect ---------------------------------------------------------------------------------------------


def _inspect(found: Priced, given: inputs.Restoration) -> Offered:
    _refuse_after_main(variations.agreed(found.scope.restoration))
    rules = odds(found.draft.priced_on)
    if not rules.inspect_fee_minor:
        raise BadInput(
            "There is no fee for strip and inspect in the rate book. The manager has to note one first.", field="fee"
        )
    digits = places(given.policy.currency)
    kept = limiting.only(given, _to_inspect(found.scope))
    given = replace(
        kept,
        parts=tuple(limiting.seen(part) for part in kept.parts),
        policy=_paid_at_once(given.policy, gettext_noop("Fee"), gettext_noop("with the order"), Event.ACCEPTED),
        fee=from_minor(rules.inspect_fee_minor, digits=digits),
        discount=inputs.ZERO,
    )
    return Offered(_anew(found, given), credit_days=rules.credit_days)


def _to_inspect(scope: Scope) -> set[str]:
    """The steps that belong to strip and inspect and that nobody has agreed to yet."""
    belong = {step.uid for step in scope.step_by_pk.values() if step.operation and step.operation.inspects}
    if not belong:
        raise BadInput("No step here belongs to strip and inspect. Put one on a route first, such as stripping down.")
    known = Authorisation.objects.filter(step_uid__in=belong).values_list("step_uid", flat=True)
    left = belong - set(known)
    if not left:
        raise BadInput("Every step of strip and inspect is agreed already. Choose another stage.")
    return {str(uid) for uid in left}


def _paid_at_once(policy: inputs.Policy, name: str, due: str, event: Event) -> inputs.Policy:
    with translation.override(settings.LANGUAGE_CODE):  # the customer reads it
        return replace(policy, stages=(inputs.PaymentStage(_(name), WHOLE, _(due), event.value),))


def _refuse_after_main(found: variations.Agreed) -> None:
    if found.main is not None:
        raise BadInput(
            "{quote} is accepted. What differs from it is a variation: choose that stage.", quote=str(found.main)
        )


# -- main offer ----------------------------------------------------------------------------------------------------


def _main(found: Priced, given: inputs.Restoration) -> Offered:
    restoration = found.scope.restoration
    _refuse_after_main(variations.agreed(restoration))
    fees = [(quote, day) for quote, day in _fees(restoration) if day >= found.draft.priced_on]
    if not fees:
        return Offered(found)
    given = replace(given, credits=tuple(credit for quote, _day in fees for credit in fee_credits(quote)))
    newest = fees[-1][0]
    return Offered(_anew(found, given), credits=newest, last_day=min(day for _quote, day in fees))


def _fees(restoration: Restoration) -> list[tuple[IssuedQuote, date]]:
    """Accepted inspections, each with the last day on which a main offer that credits it can be accepted."""
    accepted = restoration.quotes.filter(stage=Stage.INSPECT, outcome__kind=Outcome.Kind.ACCEPTED)
    rows = accepted.select_related("outcome").prefetch_related("lines").defer("snapshot", "result").order_by("number")
    return [(quote, fee_credited_until(quote)) for quote in rows]


def fee_credited_until(quote: IssuedQuote) -> date:
    """The last day on which a main offer that credits the fee of this accepted inspection can be accepted."""
    return quote.outcome.said_on + timedelta(days=offer_of(quote).credit_days)


def fee_credits(quote: IssuedQuote) -> list[inputs.Credit]:
    """The fee of an inspection as it was paid, by tax code [money before tax]."""
    with translation.override(settings.LANGUAGE_CODE):  # the customer reads it
        name = _("Fee for strip and inspect, %(quote)s") % {"quote": quote}
    nets: dict[str, int] = {}
    for line in quote.lines.all():
        nets[line.tax] = nets.get(line.tax, 0) + line.net_minor
    digits = places(quote.currency)
    return [
        inputs.Credit(str(uuid5(quote.uid, code)), name, from_minor(net, digits=digits), code)
        for code, net in sorted(nets.items())
    ]


# -- variation -----------------------------------------------------------------------------------------------------


def _variation(found: Priced, given: inputs.Restoration) -> Offered:
    differs = variations.difference(found.scope)
    limited = variations.limited(given, differs)
    words = (gettext_noop("Variation"), gettext_noop("with the final account"))
    policy = _paid_at_once(given.policy, *words, Event.HANDED_OVER)
    quoted = quoting.quote(replace(limited, policy=policy))
    anew = replace(found, given=quoted.given, explained=quoted.explained, assessment=quoted.assessment)
    return Offered(anew, varies=differs.agreed.main, whole=found)


_OF_STAGE: dict[Stage, Callable[[Priced, inputs.Restoration], Offered]] = {
    Stage.BALLPARK: _ballpark,
    Stage.INSPECT: _inspect,
    Stage.MAIN: _main,
    Stage.VARIATION: _variation,
}
