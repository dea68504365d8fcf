"""Possible damage meets the route: what nobody can see yet as the engine prices it, and what is laid when it is found."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from quotes.engine import inputs
from quotes.engine.money import from_minor, places
from shop import currency
from shop.journal.models import Entry
from shop.journal.services import record, subject_of
from shop.methods.models import DamageStep, Frequency, PossibleDamage
from shop.rates.models import Odds
from shop.restorations.damage import note_settled
from shop.restorations.models import Part, PartDamage
from shop.routes.laying import FIRST, GAP
from shop.routes.models import Authorisation, Step
from shop.routes.selectors import Scope
from shop.routes.services import authorise

HUNDRED = Decimal(100)


def damages(scope: Scope, odds: Odds) -> dict[str, tuple[inputs.Damage, ...]]:
    """Part uid to what strip-down may still reveal there, by the chances of ``odds``, in one query.

    What is settled is no chance any more: found, its steps are on the route; not found, it is gone.
    """
    uids = {part.pk: str(part.uid) for part in scope.parts}
    words = {often: str(label) for often, label in Frequency.choices}
    source = _("odds of %(day)s") % {"day": odds.valid_from.isoformat()}
    found: dict[str, tuple[inputs.Damage, ...]] = {}
    rows = PartDamage.objects.filter(
        part__restoration=scope.restoration, part__removed_at__isnull=True, removed_at__isnull=True, settled=""
    )
    for row in rows.order_by("part", "pk"):
        if row.part_id in uids:
            uid = uids[row.part_id]
            item = _damage(row, chance_of(row.frequency, odds), f"{words[row.frequency]}, {source}")
            found[uid] = (*found.get(uid, ()), item)
    return found


def chance_of(frequency: str, odds: Odds) -> Decimal:
    """The chance [fraction] behind a frequency in words."""
    return Decimal(getattr(odds, Frequency(frequency).value)) / HUNDRED


def _damage(row: PartDamage, chance: Decimal, source: str) -> inputs.Damage:
    digits = places(currency.code())
    low, likely, high = (
        from_minor(minor, digits=digits) for minor in (row.low_minor, row.likely_minor, row.high_minor)
    )
    return inputs.Damage(
        uid=str(row.uid),
        name=row.name,
        chance=chance,
        low=low,
        likely=likely,
        high=high,
        treatment=inputs.Treatment(row.treatment),
        cost_class=inputs.CostClass(row.cost_class),
        source=source,
    )


@transaction.atomic
def settle(
    *,
    damage: PartDamage,
    settled: PartDamage.Settled,
    note: str = "",
    carried: bool = False,
    again: bool = False,
    who: str,
    now: datetime,
) -> list[Step]:
    """Say once whether a possible damage was there. Found, the library's steps go onto the route before the finish.

    A step whose work is on the route already is not laid a second time, unless ``again`` says so: the part would go out
    twice and the customer would pay twice.

    Whether those steps need the customer's word hangs on what was agreed, which only pricing knows:

    - ``carried``: an accepted quote carries the damage as ours. Its fixed price paid for it whether found or not, so the
      steps are authorised at once, by the damage (an authorisation of kind ORIGIN, "damage <uid>" as its reference).
      Found while such a quote is still open, they are authorised when it is accepted: see `authorise_found`.
    - otherwise they are scope that nobody has agreed to. Before any main offer they are simply part of the next one;
      after it (provisional, excluded, or put on the list later) they come up as a variation.

    Not found, nothing is laid and nothing is charged: ours stays in the fixed price, provisional falls away, excluded
    was never in. In every case the damage stops being a chance in later prices; an accepted quote stays what it is.
    Gives back the steps laid; none when the library has none, or when it was added by hand.
    """
    note_settled(damage=damage, settled=settled, note=note, who=who, now=now)
    if settled != PartDamage.Settled.FOUND or damage.damage is None:
        return []
    methods = list(damage.damage.steps.select_related("operation", "service").order_by("position"))
    there = {} if again else on_route(damage.part, methods)
    steps = _laid(damage, [method for method in methods if method.pk not in there])
    if carried:
        _authorise(damage, [step.uid for step in (*there.values(), *steps)], now=now)
    for step in steps:
        after = {"part": damage.part.name, "step": str(step), "damage": damage.name}
        record(who=who, at=now, what="step added", subject=subject_of(step), after=after, reference=reference(damage))
    return steps


def on_route(part: Part, methods: Sequence[DamageStep]) -> dict[int, Step]:
    """Which of the steps a damage adds are on the route already, by its key: the same work, each step for one of them.

    Only what is done before the finish counts, where these are laid: the same work for the finish, or when the part is
    put together, is another occasion.
    """
    if not methods:
        return {}
    live = part.steps.filter(origin=Step.Origin.BEFORE, removed_at__isnull=True).select_related("operation", "service")
    return _matched(list(live.order_by("-position")), methods)


def on_route_each(part: Part, damages: Iterable[PossibleDamage]) -> dict[int, dict[int, Step]]:
    """The same for each of several damages by its key, as if it alone were found; their steps are read with them. One query."""
    live = part.steps.filter(origin=Step.Origin.BEFORE, removed_at__isnull=True).select_related("operation", "service")
    steps = list(live.order_by("-position"))
    return {damage.pk: _matched(steps, damage.steps.all()) for damage in damages}


def _matched(live: Iterable[Step], methods: Iterable[DamageStep]) -> dict[int, Step]:
    free: dict[tuple[int | None, int | None], list[Step]] = defaultdict(list)
    for step in live:
        free[step.operation_id, step.service_id].append(step)
    found: dict[int, Step] = {}
    for method in methods:
        same = free[method.operation_id, method.service_id]
        if same:
            found[method.pk] = same.pop()
    return found


def authorise_found(*, damage: PartDamage, now: datetime) -> int:
    """Authorise what was laid for a damage that was found before the quote that carries it was accepted.

    Inside the running transaction; the number of steps that became authorised. Which steps they are the journal knows.
    """
    laid = Entry.objects.filter(subject_type="routes.step", what="step added", reference=reference(damage))
    return _authorise(damage, laid.values_list("subject_uid", flat=True), now=now)


def _authorise(damage: PartDamage, steps: Iterable[UUID], *, now: datetime) -> int:
    return authorise(step_uids=steps, kind=Authorisation.Kind.ORIGIN, reference=reference(damage), now=now)


def reference(damage: PartDamage) -> str:
    """How an authorisation names the damage it comes from."""
    return f"damage {damage.uid}"


def _laid(damage: PartDamage, methods: Sequence[DamageStep]) -> list[Step]:
    """The steps of a damage, saved at the end of the stretch before the finish."""
    part = damage.part
    last = part.steps.filter(origin=Step.Origin.BEFORE, removed_at__isnull=True).order_by("-position").first()
    first = last.position + GAP if last else FIRST[Step.Origin.BEFORE]
    steps = [
        Step(
            part=part,
            position=first + GAP * index,
            origin=Step.Origin.BEFORE,
            operation=method.operation,
            service=method.service,
            quantity=method.quantity,
        )
        for index, method in enumerate(methods)
    ]
    for step in steps:
        step.full_clean(exclude={"part", "position"}, validate_unique=False)
    return Step.objects.bulk_create(steps)
