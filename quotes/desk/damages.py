"""What the desk shows of possible damage: words, three amounts, who carries it, and what the library's steps come to."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from quotes.engine import inputs, rollup
from quotes.engine.errors import BadInput
from quotes.engine.money import from_minor, places, rounded
from quotes.pricing.selectors import Priced
from shop import currency
from shop.methods.models import DamageStep, PossibleDamage
from shop.rates.selectors import catalogue
from shop.restorations.models import Part, PartDamage

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


def listed(part: Part) -> Listed:
    """All possible damage of a part, and how many more its kind usually has."""
    rows = [_row(row) for row in part.damages.select_related("damage").order_by("pk")]
    live = [row for row in rows if row.damage.removed_at is None]
    known = [row.damage.damage_id for row in live if row.damage.damage_id is not None]
    return Listed(
        open=[row for row in live if not row.damage.settled],
        settled=[row for row in live if row.damage.settled],
        taken_away=[row for row in rows if row.damage.removed_at is not None],
        usual=PossibleDamage.objects.filter(kind=part.kind_id).exclude(pk__in=known).count() if part.kind_id else 0,
    )


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
