"""What the desk shows of possible damage: words, three amounts, who pays if it is found, and what the library's steps come to."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from django.db.models import Prefetch, QuerySet

from quotes.engine import inputs, rollup
from quotes.engine.errors import BadInput
from quotes.engine.money import from_minor, places, rounded
from quotes.pricing.selectors import Priced
from shop import currency
from shop.methods.models import DamageStep, PossibleDamage
from shop.rates.selectors import catalogue
from shop.restorations.models import Part, PartDamage
from shop.routes.damages import on_route_each
from shop.routes.models import Step

ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Row:
    """A possible damage with its three amounts as money."""

    damage: PartDamage
    low: Decimal
    likely: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Listed:
    """What is possible on a part: what is ``open``, what is ``settled``, what was ``taken_away``, what is ``usual``."""

    open: list[Row]
    settled: list[Row]
    taken_away: list[Row]
    usual: int


@dataclass(frozen=True, slots=True)
class Option:
    """A damage that can be found on a part: one that is ``listed`` there, or one its kind usually has.

    ``methods`` are the steps it adds, each with the step on the route that is the same work, if there is one.
    """

    value: str
    name: str
    row: PartDamage | PossibleDamage
    methods: list[tuple[DamageStep, Step | None]]
    listed: PartDamage | None = None


def options(part: Part) -> list[Option]:
    """What can be found on a part: first what its list holds open, then what else its kind usually has. Four queries."""
    steps = Prefetch("steps", DamageStep.objects.select_related("operation", "service__vendor"))
    usual = PossibleDamage.objects.filter(kind=part.kind_id).prefetch_related(steps)
    by_key = {row.pk: row for row in usual} if part.kind_id else {}
    there = on_route_each(part, by_key.values())
    open_ones = list(part.damages.filter(settled="", removed_at__isnull=True).order_by("pk"))
    found = [
        Option(f"listed-{row.pk}", row.name, row, _methods(by_key.get(row.damage_id or 0), there), row)
        for row in open_ones
    ]
    known = {row.damage_id for row in open_ones}
    return found + [
        Option(f"usual-{row.pk}", row.name, row, _methods(row, there))
        for row in by_key.values()
        if row.pk not in known and not row.ended
    ]


def _methods(
    damage: PossibleDamage | None, there: Mapping[int, Mapping[int, Step]]
) -> list[tuple[DamageStep, Step | None]]:
    return [(method, there[damage.pk].get(method.pk)) for method in damage.steps.all()] if damage else []


def listed(part: Part) -> Listed:
    """All possible damage of a part, and how many more its kind usually has."""
    rows = [_row(row) for row in part.damages.select_related("damage").order_by("pk")]
    live = [row for row in rows if row.damage.removed_at is None]
    known = [row.damage.damage_id for row in live if row.damage.damage_id is not None]
    return Listed(
        open=[row for row in live if not row.damage.settled],
        settled=[row for row in live if row.damage.settled],
        taken_away=[row for row in rows if row.damage.removed_at is not None],
        usual=_usual(part).exclude(pk__in=known).count() if part.kind_id else 0,
    )


def _usual(part: Part) -> QuerySet[PossibleDamage]:
    return PossibleDamage.objects.filter(kind=part.kind_id, ended=False)


def _row(damage: PartDamage) -> Row:
    digits = places(currency.code())
    amounts = (damage.low_minor, damage.likely_minor, damage.high_minor)
    return Row(damage, *(from_minor(minor, digits=digits) for minor in amounts))


def library_cost(found: Priced, part: Part, methods: Sequence[DamageStep]) -> Decimal | None:
    """What the steps a damage adds cost on ``part`` at the rates of the draft [money]; None where they have no price."""
    if found.given is None or not methods:
        return None
    book = catalogue(found.draft.priced_on, only={str(method.work.uid) for method in methods})
    alone = [item for item in found.given.parts if item.uid == str(part.uid)]
    if not alone:
        return None
    steps = tuple(_step(found, part, method) for method in methods)
    only = replace(alone[0], steps=steps, damages=(), question=None, contingency=inputs.ZERO)
    given = replace(
        found.given,
        operations=book.operations,
        services=book.services,
        consumables=book.consumables,
        purchases=(),
        parts=(only,),
    )
    try:
        cost = rollup.price(given).result.cost
    except BadInput:
        return None
    return rounded(cost, digits=places(found.given.policy.currency))


def _step(found: Priced, part: Part, method: DamageStep) -> inputs.Step:
    factor = found.scope.factors.get((method.operation_id, part.condition), ONE) if method.operation_id else ONE
    kind = inputs.Work.SERVICE if method.service_id else inputs.Work.OPERATION
    work = method.work
    return inputs.Step(f"{work.uid}/{method.position}", str(work), kind, str(work.uid), factor, method.quantity)
