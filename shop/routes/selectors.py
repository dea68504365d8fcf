"""Reads of routes: the steps of a restoration, as rows and as what the engine prices."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from django.utils.translation import gettext as _

from quotes.engine import inputs
from quotes.engine.errors import BadInput
from quotes.engine.graph import waits
from quotes.engine.inputs import ZERO
from quotes.engine.money import from_minor, places
from shop import currency
from shop.methods.models import Condition, ConditionFactor, Finish, FinishRoute, Operation, Service, SizeClass
from shop.rates.models import Status
from shop.restorations.models import Part, Restoration
from shop.routes.laying import Routes, all_routes, works_of
from shop.routes.models import Source, Step, Wait
from shop.routes.splits import merged, merged_steps

ONE = Decimal(1)
HUNDRED = Decimal(100)
NOTHING: Mapping[str, Any] = MappingProxyType({})


@dataclass(slots=True)
class Scope:
    """The parts of a restoration with their steps, as rows, in order."""

    restoration: Restoration
    parts: list[Part]
    steps: dict[int, list[Step]]
    waits: dict[int, list[Wait]]
    factors: dict[tuple[int, str], Decimal]
    routes: Routes
    step_by_pk: dict[int, Step] = field(default_factory=dict)
    #: Part and position of removed steps, where something still waits for one or goes back to one.
    gone: dict[int, tuple[int, int]] = field(default_factory=dict)

    def standing(self, pk: int) -> Step | None:
        """The step ``pk``. Where it is removed, the last one before it on its part stands in, or nothing does."""
        if pk in self.step_by_pk:
            return self.step_by_pk[pk]
        part, position = self.gone.get(pk, (0, 0))
        return next((step for step in reversed(self.steps.get(part, ())) if step.position < position), None)

    def way_back(self, step: Step) -> Step:
        """Where a failure of ``step`` sends the part: never to a later step, and to itself where nothing is said."""
        back = self.standing(step.back_to_id) if step.back_to_id else None
        return step if back is None or back.position > step.position else back


def scope(restoration: Restoration) -> Scope:
    """Everything that is in scope, in a constant number of queries."""
    found = _rows(restoration)
    found.factors = {(f.operation_id, f.condition): f.factor for f in ConditionFactor.objects.all()}
    found.routes = all_routes()
    return found


def _rows(restoration: Restoration) -> Scope:
    """Parts, steps and waits; what was split on the way is read as the one part it was agreed as."""
    live = list(restoration.parts.filter(removed_at__isnull=True).order_by("position"))
    steps = list(
        Step.objects.filter(
            part__restoration=restoration, part__removed_at__isnull=True, removed_at__isnull=True
        ).order_by("part", "position")
    )
    parts, steps = merged(live), merged_steps(steps)
    _with_relations(parts, steps)
    by_part: dict[int, list[Step]] = {part.pk: [] for part in parts}
    for step in steps:
        by_part[step.part_id].append(step)
    found = Scope(restoration, parts, by_part, {}, {}, Routes(), {step.pk: step for step in steps})
    _read_waits(found)
    return found


FINISHES = ("agreed_finish", "factory_finish", "old_finish")


def _with_relations(parts: Sequence[Part], steps: Sequence[Step]) -> None:
    """Hang works, finishes and size classes on what names them, each read once: a join would make them anew every time."""
    finishes = Finish.objects.in_bulk(
        _named(parts, *(f"{name}_id" for name in FINISHES)) | _named(steps, "remedy_finish_id")
    )
    sizes = SizeClass.objects.in_bulk(_named(parts, "size_class_id"))
    operations = Operation.objects.in_bulk(_named(steps, "operation_id"))
    services = Service.objects.select_related("vendor").in_bulk(_named(steps, "service_id"))
    for part in parts:
        known = part._state.fields_cache
        known["size_class"] = sizes.get(part.size_class_id)
        known |= {name: finishes.get(getattr(part, f"{name}_id")) for name in FINISHES}
    for step in steps:
        known = step._state.fields_cache
        known["operation"] = operations.get(step.operation_id)
        known["service"] = services.get(step.service_id)
        known["remedy_finish"] = finishes.get(step.remedy_finish_id)


def _named(rows: Iterable[Any], *columns: str) -> set[int]:
    return {pk for row in rows for column in columns if (pk := getattr(row, column))}


def _read_waits(found: Scope) -> None:
    """Waits as they stand: on steps that are there, each once. A wait on a removed step is read as one before it."""
    rows = list(Wait.objects.filter(step__part__restoration=found.restoration).order_by("pk"))
    rows = [wait for wait in rows if wait.step_id in found.step_by_pk]
    named = {wait.on_id for wait in rows} | {step.back_to_id for step in found.step_by_pk.values() if step.back_to_id}
    if named - found.step_by_pk.keys():
        found.gone = _removed(found.restoration)
    for wait in rows:
        on = found.standing(wait.on_id)
        known = found.waits.setdefault(wait.step_id, [])
        if on is not None and on.pk != wait.step_id and on.pk not in {other.on_id for other in known}:
            wait.on_id = on.pk
            known.append(wait)


def _removed(restoration: Restoration) -> dict[int, tuple[int, int]]:
    rows = Step.objects.filter(
        part__restoration=restoration, part__removed_at__isnull=True, removed_at__isnull=False
    ).values_list("pk", "part", "position")
    return {pk: (part, position) for pk, part, position in rows}


def engine_parts(
    found: Scope,
    *,
    damages: Mapping[str, tuple[inputs.Damage, ...]] = NOTHING,
    questions: Mapping[str, inputs.FinishQuestion] = NOTHING,
) -> tuple[tuple[inputs.Part, ...], tuple[inputs.Purchase, ...]]:
    """The parts and purchases of a scope as the engine prices them; ``damages`` and ``questions`` by the part's uid."""
    uids = {pk: str(step.uid) for pk, step in found.step_by_pk.items()}
    # Said once for all steps: asking a translation for each of them takes longer than pricing them.
    conditions = {value: _("condition: %(condition)s") % {"condition": label} for value, label in Condition.choices}
    words = Words.said()
    parts = []
    purchases: list[inputs.Purchase] = []
    for part in found.parts:
        rows = found.steps[part.pk]
        source = conditions[part.condition]
        uid = str(part.uid)
        steps = tuple(_step(found, part, step, uids, source) for step in rows)
        parts.append(_part(part, steps, damages.get(uid, ()), questions.get(uid)))
        purchases.extend(_purchase(step, words) for step in rows if step.buy)
    return tuple(parts), tuple(purchases)


def _part(
    part: Part,
    steps: tuple[inputs.Step, ...],
    damages: tuple[inputs.Damage, ...],
    question: inputs.FinishQuestion | None,
) -> inputs.Part:
    size = part.size_class
    area = part.area if part.area is not None else (size.area if size else ZERO)
    weight = part.weight if part.weight is not None else (size.weight if size else ZERO)
    measured = part.area is not None or part.weight is not None or size is None
    return inputs.Part(
        uid=str(part.uid),
        name=part.name,
        pieces=part.pieces,
        steps=steps,
        area=area,
        weight=weight,
        openings=part.openings,
        spokes=part.spokes,
        material=part.material,
        strength=None if part.strength is None else Decimal(part.strength),
        thickness=part.thickness,
        tax=part.tax,
        basis=inputs.Basis(part.basis),
        cap=None if part.cap_minor is None else from_minor(part.cap_minor, digits=places(currency.code())),
        damages=damages,
        question=question,
        source=_("size of %(part)s") % {"part": part.name} if measured else _("size class “%(size)s”") % {"size": size},
    )


def as_measured(step: Step) -> tuple[inputs.Part, inputs.Step]:
    """A step and its part, which come with size class and operation, as far as the engine takes amounts from them."""
    ref = str(step.uid if step.buy else step.work.uid)
    return _part(step.part, (), (), None), inputs.Step(
        str(step.uid), str(step), _kind(step), ref, quantity=step.quantity
    )


def _step(found: Scope, part: Part, step: Step, uids: dict[int, str], source: str) -> inputs.Step:
    factor = found.factors.get((step.operation_id, part.condition), ONE) if step.operation_id else ONE
    return inputs.Step(
        uid=str(step.uid),
        name=str(step),
        work=_kind(step),
        ref=str(step.uid if step.buy else step.work.uid),
        factor=factor,
        quantity=step.quantity,
        process=str(part.agreed_finish_id or "") if step.origin == Step.Origin.FINISH else "",
        ways_back=_ways_back(found, part, step, uids),
        waits_for=_waited(found, step, uids),
        source=source,
    )


def _kind(step: Step) -> inputs.Work:
    return inputs.Work.PURCHASE if step.buy else inputs.Work.SERVICE if step.service_id else inputs.Work.OPERATION


def _waited(found: Scope, step: Step, uids: dict[int, str]) -> tuple[str, ...]:
    return tuple(uids[wait.on_id] for wait in found.waits.get(step.pk, ()))


def _ways_back(found: Scope, part: Part, step: Step, uids: dict[int, str]) -> tuple[inputs.WayBack, ...]:
    ways = []
    if step.fail_chance:
        to = uids[found.way_back(step).pk]
        ways.append(inputs.WayBack(step.fail_chance / HUNDRED, to, _remedies(found, part, step)))
    if step.scrap_chance:
        first = found.steps[part.pk][0]
        price = from_minor(step.replacement_minor, digits=places(currency.code()))
        ways.append(inputs.WayBack(step.scrap_chance / HUNDRED, str(first.uid), (), price))
    return tuple(ways)


def _remedies(found: Scope, part: Part, step: Step) -> tuple[inputs.Remedy, ...]:
    if step.remedy_finish is None:
        return ()
    methods = found.routes.steps.get((step.remedy_finish.pk, part.material, FinishRoute.Direction.REMOVE))
    if not methods:
        raise BadInput(
            "There is no route to take “{finish}” off {material}, which a redo needs. Choose another finish or material.",
            part=part.name,
            step=str(step),
            field="finish",
            finish=step.remedy_finish.name,
            material=part.get_material_display(),
        )
    return tuple(inputs.Remedy(inputs.Work(kind), ref) for kind, ref in works_of(methods))


@dataclass(frozen=True, slots=True)
class Words:
    """Labels of choices as plain text: asking the model for each row of hundreds takes longer than pricing it."""

    sources: dict[str, str]
    statuses: dict[str, str]

    @classmethod
    def said(cls) -> "Words":
        sources = {value: str(label) for value, label in Source.choices} | {"": _("bought in")}
        return cls(sources, {value: str(label) for value, label in Status.choices})


def _purchase(step: Step, words: Words) -> inputs.Purchase:
    digits = places(currency.code())
    own = step.buy_source == Source.CUSTOMERS_OWN  # that it costs nothing is no guess
    status = Status.SEEN.value if own else step.buy_status
    return inputs.Purchase(
        key=str(step.uid),
        name=step.buy,
        origin=words.sources[step.buy_source],
        unit_price=from_minor(step.buy_price_minor, digits=digits),
        handling=step.buy_handling,
        handling_grade="",
        source=words.statuses[status],
        status=status,
        lead_days=step.buy_lead_days,
    )


def order_graph(restoration: Restoration) -> tuple[Sequence[inputs.Part], dict[str, tuple[str, ...]]]:
    """What waits for what, for the check against circles: names and waits only, so that nothing else can refuse it."""
    found = _rows(restoration)
    uids = {pk: str(step.uid) for pk, step in found.step_by_pk.items()}
    parts = [
        inputs.Part(
            uid=str(part.uid),
            name=part.name,
            pieces=part.pieces,
            steps=tuple(
                inputs.Step(uids[step.pk], str(step), _kind(step), "", waits_for=_waited(found, step, uids))
                for step in found.steps[part.pk]
            ),
        )
        for part in found.parts
    ]
    return parts, waits(parts)
