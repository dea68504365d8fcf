"""A bike that goes through all stages of a quote. Names and figures are invented."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from quotes.pricing import services
from quotes.pricing.models import Draft, IssuedQuote, Stage
from shop.methods.models import DamageStep, Operation, PartKind, PossibleDamage
from shop.methods.services import note_standard_time
from shop.rates.models import Odds
from shop.restorations.damage import add_usual
from shop.restorations.models import Part, PartDamage
from shop.routes.models import Step
from shop.routes.parts import add_routed_part
from shop.routes.services import add_step
from tests.pricing.workshop import BY, JANUARY, TODAY, Workshop, add_parts, draft, issue, restoration

D = Decimal
FEE = D("480.00")
CREDIT_DAYS = 40


def note_odds(valid_from: date = JANUARY, **changes: Any) -> Odds:
    fields = {"inspect_fee_minor": 48_000, "credit_days": CREDIT_DAYS} | changes
    return Odds.objects.create(valid_from=valid_from, **fields)


def strip_down(shop: Workshop) -> Operation:
    """An operation that belongs to strip and inspect, by the hour."""
    operation = Operation.objects.create(
        name="Strip down", grade=shop.mechanic, measure="hour", inspects=True, shares_setup=False
    )
    note_standard_time(operation=operation, valid_from=JANUARY, setup=D(0), run=D(60), **BY)
    return operation


def bike(shop: Workshop) -> Draft:
    """Three parts as everywhere, and one that is only stripped down."""
    of = restoration()
    add_parts(of, shop)
    whole = add_routed_part(restoration=of, name="Whole bike", area_name="Frame", **BY)
    add_step(part=whole, origin=Step.Origin.BEFORE, operation=strip_down(shop), quantity=D(6), **BY)
    return draft(of)


def at(of: Draft, stage: Stage) -> Draft:
    of.refresh_from_db()
    return services.change_draft(draft=of, changes={"stage": stage}, **BY)


def issued(of: Draft, stage: Stage, **changes: Any) -> IssuedQuote:
    return issue(at(of, stage), **changes)


def cracked(shop: Workshop, part: Part, treatment: PartDamage.Treatment) -> PartDamage:
    """A possible damage from the library, whose steps are half an hour of blasting and a piece to fit."""
    kind, _made = PartKind.objects.get_or_create(name="Casting")
    usual, made = PossibleDamage.objects.get_or_create(
        kind=kind,
        name="Cracked",
        defaults={"frequency": "rare", "low_minor": 4_000, "likely_minor": 7_000, "high_minor": 15_000},
    )
    if made:
        DamageStep.objects.create(damage=usual, position=1, operation=shop.fit)
        DamageStep.objects.create(damage=usual, position=2, operation=shop.blast, quantity=D(4))
    Part.objects.filter(pk=part.pk).update(kind=kind)
    part.refresh_from_db()
    return add_usual(part=part, treatment=treatment, **BY)[0]


def uids(of: Draft) -> set[Any]:
    """The steps in scope."""
    live = Step.objects.filter(part__restoration=of.restoration, part__removed_at=None, removed_at=None)
    return set(live.values_list("uid", flat=True))


def later(days: int) -> date:
    return TODAY + timedelta(days=days)
