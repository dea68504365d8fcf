"""What differs from what the customer agreed to, and what it comes to.

Agreed is what the accepted main offer holds, with its accepted variations one after the other: each adds its steps and
takes out those it credits. New is what is in scope and neither agreed nor authorised otherwise (by a damage that was
ours, or standing). Left out is what was agreed and is in scope no longer: it is credited with what it contributed to
the quote it was agreed in, which is that quote's frozen input priced with and without it, by the formulas of its day.
The quote that has the variation's steps credited can come out below zero: then it is a credit, and its paper says so.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from uuid import UUID, uuid5

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _

from quotes.engine import canonical, inputs, rollup
from quotes.engine.errors import BadInput
from quotes.engine.money import places, shared_out
from quotes.engine.results import CREDIT, Explained
from quotes.pricing import limiting
from quotes.pricing.models import IssuedQuote, Outcome, Stage
from shop.restorations.models import Restoration
from shop.routes.models import Authorisation
from shop.routes.selectors import Scope

NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Agreed:
    """What was agreed: accepted quotes in order, and each step with the quote it is agreed in."""

    quotes: tuple[IssuedQuote, ...] = ()
    steps: dict[UUID, IssuedQuote] = field(default_factory=dict)

    @property
    def main(self) -> IssuedQuote | None:
        """The accepted main offer; None while there is none."""
        return next((quote for quote in self.quotes if quote.stage == Stage.MAIN), None)


@dataclass(frozen=True, slots=True)
class Difference:
    """Where scope differs from what was agreed: ``new`` steps by uid, and those ``left_out``."""

    agreed: Agreed
    new: frozenset[UUID] = frozenset()
    left_out: frozenset[UUID] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.new or self.left_out)


def agreed(restoration: Restoration, *, before: IssuedQuote | None = None) -> Agreed:
    """What the customer has said yes to, in three queries; ``before`` a quote: without it and those after it."""
    rows = (
        restoration.quotes.filter(outcome__kind=Outcome.Kind.ACCEPTED, stage__in=(Stage.MAIN, Stage.VARIATION))
        .select_related("outcome")
        .prefetch_related("steps", "lines")
        .defer("result", "offer")
        .order_by("number")
    )
    quotes = tuple(quote for quote in rows if before is None or quote.number < before.number)
    steps: dict[UUID, IssuedQuote] = {}
    for quote in quotes:
        credited = {line.part_uid for line in quote.lines.all()}
        for uid in [uid for uid, of in steps.items() if credit_uid(of, uid) in credited]:
            del steps[uid]
        for step in quote.steps.all():
            steps[step.step_uid] = quote
    return Agreed(quotes, steps)


def credit_uid(quote: IssuedQuote, step: UUID) -> UUID:
    """How a variation's line names the step it takes out and the quote that step was agreed in."""
    return uuid5(quote.uid, str(step))


def credited_steps(variation: IssuedQuote) -> list[UUID]:
    """The steps that ``variation`` takes out of what was agreed before it."""
    before = agreed(variation.restoration, before=variation)
    named = set(variation.lines.values_list("part_uid", flat=True))
    return [uid for uid, quote in before.steps.items() if credit_uid(quote, uid) in named]


def difference(scope: Scope) -> Difference:
    """Where the scope differs from what was agreed; nothing before a main offer is accepted."""
    found = agreed(scope.restoration)
    if found.main is None:
        return Difference(found)
    here = {step.uid for step in scope.step_by_pk.values()}
    otherwise = set(Authorisation.objects.filter(step_uid__in=here).values_list("step_uid", flat=True))
    new = here - found.steps.keys() - otherwise
    return Difference(found, frozenset(new), frozenset(found.steps.keys() - here))


def limited(given: inputs.Restoration, differs: Difference) -> inputs.Restoration:
    """``given`` with what differs only: new steps at present rates, and credits for those left out.

    Raises `BadInput` when nothing differs, or nothing was agreed that could be varied.
    """
    if differs.agreed.main is None:
        raise BadInput("No main offer is accepted yet, so there is nothing to vary. Choose another stage.")
    if not differs:
        raise BadInput("Nothing differs from what was agreed. Change the scope first, then offer the variation.")
    frozen = [snapshot(quote) for quote in differs.agreed.quotes]
    kept = limiting.only(given, {str(uid) for uid in differs.new})
    parts = tuple(_new_part(part, frozen) for part in kept.parts)
    return replace(kept, parts=parts, credits=credits_for(differs))


def _new_part(part: inputs.Part, frozen: Sequence[inputs.Restoration]) -> inputs.Part:
    """What is new on a part. Of one that was agreed before, what nobody could see is in the quote it was agreed in."""
    before = [old for of in frozen for old in of.parts if old.uid == part.uid]
    if not before:
        return part
    known = {damage.uid for old in before for damage in old.damages}
    damages = tuple(damage for damage in part.damages if damage.uid not in known)
    return replace(part, damages=damages, question=None, cap=None)


def snapshot(quote: IssuedQuote) -> inputs.Restoration:
    """The frozen input of a quote."""
    return canonical.load(inputs.Restoration, quote.snapshot.encode())


def credits_for(differs: Difference) -> tuple[inputs.Credit, ...]:
    """What every step left out contributed to the quote it was agreed in [money before tax]."""
    result: list[inputs.Credit] = []
    for quote in differs.agreed.quotes:
        gone = [uid for uid in sorted(differs.left_out) if differs.agreed.steps[uid].pk == quote.pk]
        if gone:
            worth = contributions(snapshot(quote), json.loads(quote.variants), [str(uid) for uid in gone])
            result += [replace(item, uid=str(credit_uid(quote, UUID(item.uid)))) for item in worth]
    return tuple(result)


def contributions(
    given: inputs.Restoration, variants: Mapping[str, str], steps: Collection[str]
) -> list[inputs.Credit]:
    """What ``steps`` contributed together to the net of a priced restoration, shared over them by what they cost.

    Each tax code by itself. They add up to the net with them less the net without them, and are never below zero.
    """
    with_them = rollup.price(given, variants)
    without_them = rollup.price(limiting.without(given, steps), variants)
    differ = _by_tax(with_them)
    for code, net in _by_tax(without_them).items():
        differ[code] = differ.get(code, NONE) - net
    return _shared(given, with_them, steps, _at_home(differ, given, steps))


def _by_tax(explained: Explained) -> dict[str, Decimal]:
    nets: dict[str, Decimal] = {}
    for line in explained.result.lines:
        if line.basis != CREDIT:
            nets[line.tax] = nets.get(line.tax, NONE) + line.net
    return nets


def _at_home(differ: Mapping[str, Decimal], given: inputs.Restoration, steps: Collection[str]) -> dict[str, Decimal]:
    """By the tax codes of the steps' own parts: what a batch made dearer elsewhere goes to the first of them."""
    own = sorted({part.tax for part in given.parts if any(step.uid in steps for step in part.steps)})
    found = {code: differ.get(code, NONE) for code in own}
    found[own[0]] += sum((amount for code, amount in differ.items() if code not in found), NONE)
    return found


def _shared(
    given: inputs.Restoration, explained: Explained, steps: Collection[str], differ: Mapping[str, Decimal]
) -> list[inputs.Credit]:
    costs = {step.uid: step.first.cost + step.allowance.cost for step in explained.steps}
    digits = places(given.policy.currency)
    result: list[inputs.Credit] = []
    for code, amount in differ.items():
        of_code = [(part, step) for part in given.parts if part.tax == code for step in part.steps if step.uid in steps]
        weights = [costs[step.uid] for _part, step in of_code]
        uids = [step.uid for _part, step in of_code]
        shares = shared_out(max(amount, NONE), weights, uids, digits=digits)
        result += [
            inputs.Credit(step.uid, _name(part.name, step.name), share, code)
            for (part, step), share in zip(of_code, shares, strict=True)
        ]
    return result


def _name(part: str, step: str) -> str:
    with translation.override(settings.LANGUAGE_CODE):  # the customer reads it
        return _("%(part)s: %(step)s, left out") % {"part": part, "step": step}
