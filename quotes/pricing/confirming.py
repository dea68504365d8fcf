"""Prices still to confirm: those that are only guessed or told by phone, and those that do not hold as long as the quote.

What a price comes to in a draft is the cost of the first pass and of what is expected to be done again, and that sold by
the margin of its class. Stripping before a redo is left out: it is part of the allowance of the step that fails.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, localcontext
from enum import StrEnum

from quotes.engine import inputs
from quotes.engine.inputs import ONE, ZERO, Work
from quotes.engine.money import CONTEXT, places, rounded
from quotes.engine.results import StepResult
from quotes.pricing.selectors import Priced
from shop.rates.models import ConsumablePrice, ServicePrice, Status
from shop.rates.selectors import consumable_prices, policy, service_prices
from shop.routes.models import Source, Step

MATERIAL = "material_"  # the formula of what a consumable costs, in any variant


class Kind(StrEnum):
    """What a price is of."""

    PURCHASE = "purchase"
    SERVICE = "service"
    CONSUMABLE = "consumable"


class Why(StrEnum):
    """Why it has to be confirmed."""

    NO_PRICE = "no price"
    GUESSED = "guessed"
    PHONED = "phoned"
    OUT = "out"
    ENDS = "ends"


@dataclass(frozen=True, slots=True)
class Unsure:
    """A price to confirm. ``cost`` and ``price`` are what it comes to in the draft, ``swing`` what it may move [money].

    ``row`` is where it is kept. ``overtaken`` says that the rate book has a newer one than the draft is priced with.
    """

    kind: Kind
    key: str
    name: str
    parts: tuple[str, ...]
    row: Step | ServicePrice | ConsumablePrice
    status: str
    valid_until: date | None
    why: tuple[Why, ...]
    cost: Decimal
    price: Decimal
    swing: Decimal
    overtaken: bool = False

    @property
    def guessed(self) -> bool:
        return bool({Why.GUESSED, Why.NO_PRICE} & set(self.why))

    @property
    def told(self) -> bool:
        """Told by phone, and holding as long as the quote would: good enough to issue."""
        return self.why == (Why.PHONED,)


@dataclass(frozen=True, slots=True)
class Use:
    """What a thing costs in a draft [money], and on which parts it is used."""

    cost: Decimal
    parts: tuple[str, ...]


def unsure(found: Priced, *, today: date) -> tuple[Unsure, ...]:
    """The prices still to confirm of a draft, the largest effect first; what has no price yet before all, and
    what was told by phone after all else. Nothing without a price.

    ``today`` is the day on which it would be issued: from it on the quote is valid.
    """
    if found.given is None or found.explained is None:
        return ()
    with localcontext(CONTEXT):
        uses = _uses(found.given, {step.uid: step for step in found.explained.steps})
        rows = [*_purchases(found, uses), *_rates(found, uses, today)]
        until = _valid_until(found, today)
        listed = [_judged(found.given, *row, today=today, until=until) for row in rows]
    return tuple(sorted((item for item in listed if item.why), key=_by_effect))


def rests_on_guesses(rows: Iterable[Unsure]) -> Decimal:
    """How much of the price rests on guesses [money before tax and discount]."""
    return sum((item.price for item in rows if item.guessed), ZERO)


@dataclass(frozen=True, slots=True)
class Counts:
    """How many prices are what; each price once. ``open`` are still to confirm: guessed, or not holding long enough."""

    guessed: int
    outdated: int
    told: int

    @property
    def open(self) -> int:
        return self.guessed + self.outdated


def counts(rows: Iterable[Unsure]) -> Counts:
    listed = list(rows)
    guessed, told = sum(item.guessed for item in listed), sum(item.told for item in listed)
    return Counts(guessed=guessed, outdated=len(listed) - guessed - told, told=told)


def _by_effect(item: Unsure) -> tuple[bool, bool, Decimal, str, str]:
    return item.told, Why.NO_PRICE not in item.why, -item.swing, item.name, item.key


def _valid_until(found: Priced, today: date) -> date:
    rules = policy(found.draft.priced_on)
    return today + timedelta(days=rules.validity_days if rules else 0)


# -- what it comes to --------------------------------------------------------------------------------------------------

Costs = dict[tuple[Kind, str], Use]


def _uses(given: inputs.Restoration, results: Mapping[str, StepResult]) -> Costs:
    operations = {item.key: item for item in given.operations}
    costs: defaultdict[tuple[Kind, str], Decimal] = defaultdict(lambda: ZERO)
    parts: defaultdict[tuple[Kind, str], dict[str, None]] = defaultdict(dict)
    for part in given.parts:
        for step in part.steps if part.pieces else ():
            for kind, key, cost in _of_step(step, results[step.uid], operations):
                costs[kind, key] += cost
                parts[kind, key][part.name] = None
    return {thing: Use(cost, tuple(parts[thing])) for thing, cost in costs.items()}


def _of_step(
    step: inputs.Step, result: StepResult, operations: Mapping[str, inputs.Operation]
) -> Iterator[tuple[Kind, str, Decimal]]:
    first, redo, often = result.first, result.redo, result.redone
    if step.work is Work.PURCHASE:
        yield Kind.PURCHASE, step.ref, first.bought_in + often * redo.bought_in
    elif step.work is Work.SERVICE:
        yield Kind.SERVICE, step.ref, first.vendor + often * redo.vendor
    else:
        usages = operations[step.ref].usages
        whole = first.material + often * redo.material
        for usage, share in zip(usages, _shares(result, len(usages)), strict=True):
            yield Kind.CONSUMABLE, usage.consumable, whole * share


def _shares(result: StepResult, count: int) -> list[Decimal]:
    """How the material of a step is shared by its consumables: as they cost the first time."""
    costs = [item.value for item in result.figure.inputs if item.formula.startswith(MATERIAL)]
    if len(costs) != count or not sum(costs, ZERO):
        return [ONE / count] * count if count else []
    return [cost / sum(costs, ZERO) for cost in costs]


# -- which there are ---------------------------------------------------------------------------------------------------

Found = tuple[Kind, str, str, Step | ServicePrice | ConsumablePrice, Use, bool]


def _purchases(found: Priced, uses: Costs) -> Iterator[Found]:
    for steps in found.scope.steps.values():
        for step in steps:
            use = uses.get((Kind.PURCHASE, str(step.uid)))
            if step.buy and use is not None and step.buy_source != Source.CUSTOMERS_OWN:
                yield Kind.PURCHASE, str(step.uid), step.buy, step, use, False


def _rates(found: Priced, uses: Costs, today: date) -> Iterator[Found]:
    """What the draft uses of the rate book, as it was on the day it is priced on."""
    services = {key for kind, key in uses if kind is Kind.SERVICE}
    on = found.draft.priced_on
    in_force = service_prices(on, only=services)
    newest = {row.pk for row in (in_force if on == today else service_prices(today, only=services)).values()}
    for service_price in in_force.values():
        uid = str(service_price.service.uid)
        name = f"{service_price.service.vendor}: {service_price.service.name}"
        yield Kind.SERVICE, uid, name, service_price, uses[Kind.SERVICE, uid], service_price.pk not in newest
    of_things = consumable_prices(on)
    newest = {row.pk for row in (of_things if on == today else consumable_prices(today)).values()}
    for price in of_things.values():
        use = uses.get((Kind.CONSUMABLE, str(price.consumable.uid)))
        if use is not None:
            yield Kind.CONSUMABLE, str(price.consumable.uid), price.consumable.name, price, use, price.pk not in newest


def _judged(
    given: inputs.Restoration,
    kind: Kind,
    key: str,
    name: str,
    row: Step | ServicePrice | ConsumablePrice,
    use: Use,
    overtaken: bool,  # one of a tuple
    *,
    today: date,
    until: date,
) -> Unsure:
    status, valid_until = said(row)
    why = tuple(_why(row, status, valid_until, today, until))
    margin = {
        Kind.PURCHASE: given.policy.bought_in_margin,
        Kind.SERVICE: given.policy.vendor_margin,
        Kind.CONSUMABLE: given.policy.material_margin,
    }[kind]
    digits = places(given.policy.currency)
    price = use.cost / (ONE - margin)
    spread = dict(given.policy.status_spreads)[Status.GUESSED if Why.OUT in why else status]
    return Unsure(
        kind=kind,
        key=key,
        name=name,
        parts=use.parts,
        row=row,
        status=status,
        valid_until=valid_until,
        why=why,
        cost=rounded(use.cost, digits=digits),
        price=rounded(price, digits=digits),
        swing=rounded(price * spread, digits=digits),
        overtaken=overtaken,
    )


def said(row: Step | ServicePrice | ConsumablePrice) -> tuple[str, date | None]:
    """How sure a price is, and until when it holds."""
    return (row.buy_status, row.buy_valid_until) if isinstance(row, Step) else (row.status, row.valid_until)


def _why(
    row: Step | ServicePrice | ConsumablePrice, status: str, valid_until: date | None, today: date, until: date
) -> Iterator[Why]:
    if isinstance(row, Step) and not row.buy_price_minor and status != Status.SEEN:
        yield Why.NO_PRICE
    elif status == Status.GUESSED:
        yield Why.GUESSED
    elif status == Status.PHONED:
        yield Why.PHONED
    if valid_until is not None and valid_until < today:
        yield Why.OUT
    elif valid_until is not None and valid_until < until:
        yield Why.ENDS
