"""Writes on how things are done: definitions are edited in place, so each change says what it was made over.

``seen`` is what the person saw, by field: where something else is stored by now, nothing is kept, and
`ChangedMeanwhileError` says so at its field. What issued quotes used stays frozen with them.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any, TypeVar, cast

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext as _

from quotes.engine import canonical
from shop.journal.services import record, subject_of
from shop.journal.telling import told
from shop.methods.models import (
    Check,
    ConditionFactor,
    DamageStep,
    Finish,
    FinishRoute,
    FinishStep,
    Measure,
    Named,
    Operation,
    PossibleDamage,
    RunCheck,
    Usage,
)
from shop.methods.sentences import check
from shop.methods.services import note_standard_time
from shop.people.models import Grade

Thing = TypeVar("Thing", bound=Named | Grade | Check | PossibleDamage | RunCheck)
Row = Mapping[str, Any]
NOTHING: Row = MappingProxyType({})

CAUTION_GOES = "caution goes"


class ChangedMeanwhileError(ValidationError):
    """Somebody else changed ``field`` after the person looked; it holds ``now``."""

    def __init__(self, field: str, now: Any) -> None:
        self.field, self.now = field, now
        said = _("Somebody else changed this to “%(now)s” meanwhile. Save again if yours shall stand.")
        words = ", ".join(map(str, now)) if isinstance(now, list) else now
        super().__init__({field: said % {"now": words if words not in (None, "") else _("nothing")}})


@transaction.atomic
def add_thing(*, thing: Thing, many: Row = NOTHING, who: str, now: datetime) -> Thing:
    """A new definition; the journal names it by its model. ``many`` are its fields that hold several things."""
    check(thing)
    thing.save(force_insert=True)
    for field, rows in many.items():
        getattr(thing, field).set(rows)
    after = _facts(thing, [*_columns(thing), *many])
    record(who=who, at=now, what="method added", subject=subject_of(thing), after=after)
    return thing


@transaction.atomic
def add_operation(
    *, operation: Operation, setup: Decimal, run: Decimal, today: date, who: str, now: datetime
) -> Operation:
    """A new operation with its standard time [min/batch, min/measure], so that it can be priced at once."""
    add_thing(thing=operation, who=who, now=now)
    note_standard_time(operation=operation, valid_from=today, setup=setup, run=run, who=who, now=now)
    return operation


@transaction.atomic
def change_thing(
    *, thing: Thing, changes: Row, seen: Row, who: str, now: datetime, caution_may_go: bool = False
) -> Thing:
    """Change fields of a definition; what holds several things is given as a list of them, in the order of their names.

    A caution goes only when somebody says that it may.
    """
    stored = cast(Thing, type(thing)._default_manager.select_for_update().get(pk=thing.pk))
    _refuse_changed(stored, changes, seen)
    _refuse_caution_gone(stored, changes, caution_may_go=caution_may_go)
    before = _facts(stored, changes)
    several = [field for field in changes if isinstance(held(stored, field), list)]
    for field in changes.keys() - set(several):
        setattr(stored, field, changes[field])
    check(stored)
    stored.save(update_fields=list(changes.keys() - set(several)))
    for field in several:
        getattr(stored, field).set(changes[field])
    record(
        who=who, at=now, what="method changed", subject=subject_of(stored), before=before, after=_facts(stored, changes)
    )
    return stored


def _refuse_changed(stored: models.Model, changes: Row, seen: Row) -> None:
    for field, value in seen.items():
        now = held(stored, field)
        if now not in (value, changes.get(field)):
            raise ChangedMeanwhileError(field, now)


def _refuse_caution_gone(stored: models.Model, changes: Row, *, caution_may_go: bool) -> None:
    goes = "caution" in changes and not changes["caution"].strip() and getattr(stored, "caution", "").strip()
    if goes and not caution_may_go:
        said = _(
            "This would leave the work without its caution, wherever it is done. If that is right, say so below;"
            " data sheets and local codes stand over it either way."
        )
        raise ValidationError({"caution": ValidationError(said, code=CAUTION_GOES)})


def _columns(thing: models.Model) -> list[str]:
    return [field.name for field in thing._meta.concrete_fields if field.name not in {"id", "uid"}]


def held(thing: models.Model, field: str) -> Any:
    """What a field holds: where it holds several things, a list in the order of their names."""
    value = getattr(thing, field)
    return sorted(value.all(), key=str) if isinstance(value, models.Manager) else value


def _facts(thing: models.Model, fields: Any) -> dict[str, Any]:
    return told({field: held(thing, field) for field in fields})


# -- what an operation uses, and how long it takes on what condition -----------------------------------------------------


def factors_of(operation: Operation) -> dict[str, Decimal]:
    """Condition to factor; what is not there counts once."""
    return dict(operation.condition_factors.order_by("condition").values_list("condition", "factor"))


def usages_of(operation: Operation) -> list[dict[str, Any]]:
    """What it uses, in the order of names."""
    rows = operation.usages.select_related("consumable").order_by("consumable__name")
    return [{"consumable": row.consumable} | {name: getattr(row, name) for name in USAGE} for row in rows]


USAGE = ("amount", "waste", "film", "transfer")


def stamp_of(rows: Any) -> str:
    """What a person saw of a list, short enough for a page to carry."""
    return canonical.sha256(canonical.dump(_plain(rows)))


def _plain(rows: Any) -> Any:
    if isinstance(rows, Mapping):
        return {str(key): _plain(value) for key, value in rows.items()}
    if isinstance(rows, list | tuple):
        return [_plain(item) for item in rows]
    return str(rows) if isinstance(rows, models.Model) else rows


@transaction.atomic
def set_factors(*, operation: Operation, factors: Mapping[str, Decimal], seen: str, who: str, now: datetime) -> None:
    """How much longer the run takes, by condition; ``seen`` is the stamp of what the person saw."""
    Operation.objects.select_for_update().get(pk=operation.pk)
    before = factors_of(operation)
    if before == dict(factors):
        return
    _refuse_other_list(before, seen, "factors")
    rows = [ConditionFactor(operation=operation, condition=name, factor=value) for name, value in factors.items()]
    for row in rows:
        _checked(row, f"factor-{row.condition}", exclude={"operation"})
    operation.condition_factors.all().delete()
    ConditionFactor.objects.bulk_create(rows)
    after = factors_of(operation)
    record(who=who, at=now, what="factors set", subject=subject_of(operation), before=before, after=after)


@transaction.atomic
def set_usages(*, operation: Operation, usages: Sequence[Row], seen: str, who: str, now: datetime) -> None:
    """What the operation uses: mappings of consumable, amount, waste, film, transfer."""
    Operation.objects.select_for_update().get(pk=operation.pk)
    before = usages_of(operation)
    rows = [Usage(operation=operation, **usage) for usage in usages]
    wanted = sorted(usages, key=lambda usage: str(usage["consumable"]))
    if before == wanted:
        return
    _refuse_other_list(before, seen, "usages")
    for number, row in enumerate(rows):
        _checked(row, f"usage-{number}", exclude={"operation"})
    if len({row.consumable_id for row in rows}) < len(rows):
        raise ValidationError({"usages": _("The same consumable is there twice. Put it into one row.")})
    operation.usages.all().delete()
    Usage.objects.bulk_create(rows)
    old, new = ({"uses": [_plain(row) for row in found]} for found in (before, usages_of(operation)))
    record(who=who, at=now, what="usages set", subject=subject_of(operation), before=old, after=new)


def _refuse_other_list(before: Any, seen: str, field: str) -> None:
    if stamp_of(before) != seen:
        said = _("Somebody else changed these rows after you looked. Look at what is there now, then save again.")
        raise ValidationError({field: said})


def _checked(row: models.Model, field: str, *, exclude: set[str]) -> None:
    """Raises what is wrong with a row as ``field:column``, so that a page finds its box."""
    try:
        check(row, exclude=exclude)
    except ValidationError as error:
        raise ValidationError({f"{field}:{name}": said for name, said in error.message_dict.items()}) from None


# -- the route of a finish -----------------------------------------------------------------------------------------------

STEP = ("operation", "service", "fail_chance", "back_to", "remove_first")


def steps_of(route: FinishRoute) -> list[dict[str, Any]]:
    """The steps of a route in order."""
    rows = route.steps.select_related("operation", "service").order_by("position")
    return [{name: getattr(row, name) for name in STEP} for row in rows]


@transaction.atomic
def set_route(
    *,
    finish: Finish,
    material: str,
    direction: str,
    steps: Sequence[Row],
    seen: str,
    who: str,
    now: datetime,
) -> None:
    """The steps that put a finish on a material or take it off, in order; without steps there is no route any more."""
    Finish.objects.select_for_update().get(pk=finish.pk)
    route = FinishRoute.objects.filter(finish=finish, material=material, direction=direction).first()
    before = steps_of(route) if route else []
    if before == [dict(step) for step in steps]:
        return
    _refuse_other_list(before, seen, "steps")
    if route is None:
        route = FinishRoute(finish=finish, material=material, direction=direction)
        route.full_clean()
        route.save()
    rows = [FinishStep(route=route, position=number, **step) for number, step in enumerate(steps, start=1)]
    for number, row in enumerate(rows):
        _checked(row, f"step-{number}", exclude={"route"})
    route.steps.all().delete()
    FinishStep.objects.bulk_create(rows)
    if not rows:
        route.delete()
    old, new = ({"steps": [_plain(step) for step in found]} for found in (before, steps))
    what = f"route set: {direction} on {material}"
    record(who=who, at=now, what=what, subject=subject_of(finish), before=old, after=new)


# -- what a possible damage adds to the route -----------------------------------------------------------------------------

DAMAGE_STEP = ("operation", "service", "quantity")


def damage_steps_of(damage: PossibleDamage) -> list[dict[str, Any]]:
    """The steps it lays when it is found, in order."""
    rows = damage.steps.select_related("operation", "service").order_by("position")
    return [{name: getattr(row, name) for name in DAMAGE_STEP} for row in rows]


@transaction.atomic
def set_damage_steps(*, damage: PossibleDamage, steps: Sequence[Row], seen: str, who: str, now: datetime) -> None:
    """What comes onto the route when the damage is found: mappings of operation, service, quantity."""
    PossibleDamage.objects.select_for_update().get(pk=damage.pk)
    before = damage_steps_of(damage)
    if before == [dict(step) for step in steps]:
        return
    _refuse_other_list(before, seen, "steps")
    rows = [DamageStep(damage=damage, position=number, **step) for number, step in enumerate(steps, start=1)]
    for number, row in enumerate(rows):
        _checked(row, f"step-{number}", exclude={"damage"})
        if row.work.measure == Measure.HOUR and row.quantity is None:
            raise ValidationError({f"step-{number}:quantity": _("Say how many hours.")})
    damage.steps.all().delete()
    DamageStep.objects.bulk_create(rows)
    old, new = ({"steps": [_plain(step) for step in found]} for found in (before, steps))
    record(who=who, at=now, what="damage steps set", subject=subject_of(damage), before=old, after=new)
