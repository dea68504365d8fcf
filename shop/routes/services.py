"""Writes on routes: laying them out, choosing finishes, editing steps and waits, authorising."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, Model, Q
from django.utils.translation import gettext as _

from quotes.engine.errors import BadInput
from quotes.engine.graph import check_order
from shop.journal.services import record, subject_of
from shop.methods.models import Finish, FinishRoute, Operation, Service, Template, TemplatePart
from shop.restorations.models import Part, Restoration
from shop.restorations.services import ChangedMeanwhileError, add_part, change_part, change_scope
from shop.routes.laying import FIRST, GAP, Routes, all_routes, link_ways_back, stretch
from shop.routes.models import Authorisation, Step, Wait
from shop.routes.selectors import order_graph

STEP_FIELDS = (
    "quantity",
    "fail_chance",
    "scrap_chance",
    "replacement_minor",
    "buy",
    "buy_source",
    "buy_price_minor",
    "buy_handling",
    "buy_status",
    "back_to",
)
ROUTE_FIELDS = ("material", "old_finish", "agreed_finish")
FROM_TEMPLATE = (
    "depth",
    "area_name",
    "name",
    "pieces",
    "material",
    "size_class",
    "area",
    "weight",
    "openings",
    "spokes",
    "condition",
    "strength",
    "thickness",
    "old_finish",
)


@transaction.atomic
def lay_out_template(*, restoration: Restoration, template: Template, who: str, now: datetime) -> list[Part]:
    """Give ``restoration`` the parts of ``template`` with their routes. It must have no parts yet."""
    change_scope(restoration)
    if restoration.parts.filter(removed_at__isnull=True).exists():
        raise ValidationError(_("This restoration has parts already. Begin a new one from the template."))
    routes = all_routes()
    rows = list(
        template.parts.select_related("size_class", "finish", "old_finish")
        .prefetch_related("steps__operation", "steps__service", "steps__waits_for")
        .order_by("position")
    )
    parts = {row.pk: _part_of(row, restoration) for row in rows}
    Part.objects.bulk_create(parts.values())
    laid = {row.pk: _template_steps(parts[row.pk], row, routes) for row in rows}
    Step.objects.bulk_create(step for stretches in laid.values() for pairs in stretches for step, _m in pairs)
    changed = [step for stretches in laid.values() for pairs in stretches for step in link_ways_back(pairs)]
    Step.objects.bulk_update(changed, ["back_to"])
    Wait.objects.bulk_create(_template_waits(rows, laid))
    record(
        who=who,
        at=now,
        what="parts laid out from template",
        subject=subject_of(restoration),
        after={"template": template.name, "parts": len(parts)},
    )
    return list(parts.values())


def _part_of(row: TemplatePart, restoration: Restoration) -> Part:
    fields = {name: getattr(row, name) for name in FROM_TEMPLATE}
    return Part(
        restoration=restoration,
        position=row.position * GAP,
        factory_finish=row.finish,
        agreed_finish=row.finish,
        **fields,
    )


def _template_steps(part: Part, row: TemplatePart, routes: Routes) -> list[list[tuple[Step, Any]]]:
    """The four stretches of a part's route, unsaved."""
    steps = sorted(row.steps.all(), key=lambda step: step.position)
    before = [step for step in steps if not step.after_finish]
    after = [step for step in steps if step.after_finish]
    return [
        stretch(part, Step.Origin.BEFORE, before, finish=None),
        _strip(part, routes),
        _finish(part, routes),
        stretch(part, Step.Origin.AFTER, after, finish=None),
    ]


def _strip(part: Part, routes: Routes) -> list[tuple[Step, Any]]:
    if part.old_finish is None:
        return []
    methods = routes.of(part.old_finish, part.material, FinishRoute.Direction.REMOVE, part=part.name)
    return stretch(part, Step.Origin.STRIP, methods, finish=None)


def _finish(part: Part, routes: Routes) -> list[tuple[Step, Any]]:
    if part.agreed_finish is None:
        return []
    methods = routes.of(part.agreed_finish, part.material, FinishRoute.Direction.APPLY, part=part.name)
    if any(method.remove_first for method in methods):
        routes.of(part.agreed_finish, part.material, FinishRoute.Direction.REMOVE, part=part.name)
    return stretch(part, Step.Origin.FINISH, methods, finish=part.agreed_finish)


def _template_waits(rows: Sequence[TemplatePart], laid: Mapping[int, list[list[tuple[Step, Any]]]]) -> list[Wait]:
    """A template step waits for parts: for the last step of each."""
    last = {pk: [step for pairs in stretches for step, _m in pairs][-1:] for pk, stretches in laid.items()}
    waits: list[Wait] = []
    for row in rows:
        for pairs in laid[row.pk]:
            for step, method in pairs:
                awaited = method.waits_for.all() if hasattr(method, "waits_for") else ()
                waits.extend(Wait(step=step, on=on) for other in awaited for on in last.get(other.pk, ()))
    return waits


@transaction.atomic
def add_routed_part(
    *,
    restoration: Restoration,
    finish: Finish | None = None,
    old_finish: Finish | None = None,
    after: Part | None = None,
    routes: Routes | None = None,
    who: str,
    now: datetime,
    **fields: Any,
) -> Part:
    """Add a part with the route of its finish."""
    fields.setdefault("factory_finish", finish)
    part = add_part(
        restoration=restoration, after=after, who=who, now=now, agreed_finish=finish, old_finish=old_finish, **fields
    )
    known = routes or all_routes()
    _save(_strip(part, known))
    _save(_finish(part, known))
    return part


@transaction.atomic
def add_routed_parts(
    *,
    restoration: Restoration,
    rows: Sequence[Mapping[str, Any]],
    routes: Routes | None = None,
    who: str,
    now: datetime,
) -> list[Part]:
    """Add parts with the routes of their finishes at the end of the outline: all of them, or none.

    A row holds fields of a part, and ``finish`` and ``old_finish`` as `add_routed_part` takes them. The scope version
    rises once. Relations are taken as given: nobody looks again whether their rows exist.
    """
    change_scope(restoration)
    known = routes or all_routes()
    live = restoration.parts.filter(removed_at__isnull=True)
    last = live.aggregate(last=Max("position"))["last"] or 0
    parts = [_part_from(row, restoration, last + GAP * place) for place, row in enumerate(rows, start=1)]
    Part.objects.bulk_create(parts)
    laid = [pairs for part in parts for pairs in (_strip(part, known), _finish(part, known))]
    Step.objects.bulk_create(step for pairs in laid for step, _method in pairs)
    Step.objects.bulk_update([step for pairs in laid for step in link_ways_back(pairs)], ["back_to"])
    for part, row in zip(parts, rows, strict=True):
        record(who=who, at=now, what="part added", subject=subject_of(part), after=_plain(row))
    return parts


def _part_from(row: Mapping[str, Any], restoration: Restoration, position: int) -> Part:
    fields = {"factory_finish": row.get("finish")} | dict(row)
    part = Part(restoration=restoration, position=position, agreed_finish=fields.pop("finish", None), **fields)
    part.name = part.name.strip()
    part.clean_fields(exclude={field.name for field in Part._meta.concrete_fields if field.is_relation})
    return part


def _save(laid: list[tuple[Step, Any]]) -> list[Step]:
    steps = Step.objects.bulk_create(step for step, _method in laid)
    Step.objects.bulk_update(link_ways_back(laid), ["back_to"])
    return steps


@transaction.atomic
def edit_part(
    *, part: Part, who: str, now: datetime, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None
) -> Part:
    """Change fields of a part; where material or finishes change, its route follows.

    ``seen`` is what the person saw: another value there raises `ChangedMeanwhileError` and nothing is saved. Raises
    `NoRouteError` when nobody has said how to put the finish on the material, or how to take it off.
    """
    change_scope(part.restoration)
    part.refresh_from_db()
    for field, value in (seen or {}).items():
        if getattr(part, field) != value and getattr(part, field) != changes.get(field):
            raise ChangedMeanwhileError(field, getattr(part, field))
    plain = {field: value for field, value in changes.items() if field not in ROUTE_FIELDS}
    if plain:
        change_part(part=part, who=who, now=now, changes=plain)
    before = {field: getattr(part, field) for field in ROUTE_FIELDS if field in changes}
    if not before:
        return part
    for field in before:
        setattr(part, field, changes[field])
    part.full_clean(validate_unique=False, validate_constraints=False)
    part.save(update_fields=list(before))
    _relay(part, set(before), now=now)
    record(
        who=who,
        at=now,
        what="part changed",
        subject=subject_of(part),
        before=_plain(before),
        after=_plain({field: changes[field] for field in before}),
    )
    return part


def choose_finish(*, part: Part, finish: Finish | None, who: str, now: datetime) -> Part:
    """Agree on another finish: its route replaces the old one's, and what waited for that waits for this."""
    return edit_part(part=part, who=who, now=now, changes={"agreed_finish": finish})


def choose_old_finish(*, part: Part, finish: Finish | None, who: str, now: datetime) -> Part:
    """Say which finish has to come off first."""
    return edit_part(part=part, who=who, now=now, changes={"old_finish": finish})


def _relay(part: Part, changed: set[str], *, now: datetime) -> None:
    """Lay the stretches that hang on ``changed`` fields anew."""
    routes = all_routes()
    if changed & {"material", "old_finish"}:
        _replace(part, Step.Origin.STRIP, _strip(part, routes), now=now)
    if changed & {"material", "agreed_finish"}:
        _replace(part, Step.Origin.FINISH, _finish(part, routes), now=now)


def _replace(part: Part, origin: Step.Origin, laid: list[tuple[Step, Any]], *, now: datetime) -> None:
    gone = list(part.steps.filter(origin=origin, removed_at__isnull=True))
    Step.objects.filter(pk__in=[step.pk for step in gone]).update(removed_at=now)
    new = _save(laid)
    _forget(gone, heir=new[-1] if new else None)


def _forget(gone: Sequence[Step], *, heir: Step | None) -> None:
    """What waited for removed steps waits for ``heir``, or for nothing; what went back to them goes back to itself."""
    pks = [step.pk for step in gone]
    Step.objects.filter(back_to__in=pks).exclude(pk__in=pks).update(back_to=None)
    waiting = Wait.objects.filter(on__in=pks).exclude(step__in=pks)
    if heir is not None:
        followers = set(waiting.values_list("step", flat=True)) - set(heir.awaited_by.values_list("step", flat=True))
        Wait.objects.bulk_create(Wait(step_id=step, on=heir) for step in sorted(followers))
    waiting.delete()


@transaction.atomic
def add_step(
    *,
    part: Part,
    origin: Step.Origin,
    operation: Operation | None = None,
    service: Service | None = None,
    buy: str = "",
    who: str,
    now: datetime,
    **fields: Any,
) -> Step:
    """Add a step at the end of a stretch of ``part``'s route."""
    change_scope(part.restoration)
    last = part.steps.filter(origin=origin, removed_at__isnull=True).order_by("-position").first()
    step = Step(
        part=part,
        position=last.position + GAP if last else FIRST[origin],
        origin=origin,
        operation=operation,
        service=service,
        buy=buy.strip(),
        **fields,
    )
    step.full_clean()
    step.save()
    record(who=who, at=now, what="step added", subject=subject_of(step), after={"part": part.name, "step": str(step)})
    return step


@transaction.atomic
def change_step(
    *, step: Step, who: str, now: datetime, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None
) -> Step:
    """Change fields of ``STEP_FIELDS``; ``seen`` as in `change_part`."""
    change_scope(step.part.restoration)
    step.refresh_from_db()
    for field, value in (seen or {}).items():
        if getattr(step, field) != value and getattr(step, field) != changes.get(field):
            raise ChangedMeanwhileError(field, getattr(step, field))
    before = {field: getattr(step, field) for field in changes if field in STEP_FIELDS}
    for field in before:
        setattr(step, field, changes[field])
    if step.back_to is not None and (step.back_to.part_id != step.part_id or step.back_to.position > step.position):
        raise ValidationError(
            {"back_to": _("A failed step sends the part back to an earlier step of its own route. Choose one above.")}
        )
    step.full_clean(exclude=["back_to"])
    step.save()
    record(
        who=who,
        at=now,
        what="step changed",
        subject=subject_of(step),
        before=_plain(before),
        after=_plain({field: changes[field] for field in before}),
    )
    return step


def _plain(fields: Mapping[str, Any]) -> dict[str, object]:
    return {name.replace("_", " "): (str(v) if isinstance(v, Model) else v) for name, v in fields.items()}


@transaction.atomic
def remove_step(*, step: Step, who: str, now: datetime) -> Step:
    """Take a step off its route; `bring_back_step` undoes it."""
    change_scope(step.part.restoration)
    step.removed_at = now
    step.save(update_fields=["removed_at"])
    _forget([step], heir=step.part.steps.filter(removed_at__isnull=True, position__lt=step.position).last())
    record(who=who, at=now, what="step removed", subject=subject_of(step), before={"step": str(step)})
    return step


@transaction.atomic
def bring_back_step(*, step: Step, who: str, now: datetime) -> Step:
    """Undo a removal: the same uid returns to its stretch, at its place or at the end when that is taken."""
    change_scope(step.part.restoration)
    live = step.part.steps.filter(removed_at__isnull=True, origin=step.origin).order_by("position")
    if live.filter(position=step.position).exists():
        last = live.last()
        assert last is not None
        step.position = last.position + GAP
    step.removed_at = None
    step.save(update_fields=["removed_at", "position"])
    record(who=who, at=now, what="step brought back", subject=subject_of(step), after={"step": str(step)})
    return step


@transaction.atomic
def move_step(*, step: Step, earlier: bool, who: str, now: datetime) -> Step:
    """Swap a step with its neighbour in the same stretch; refused when a way back would then lead forward."""
    change_scope(step.part.restoration)
    live = step.part.steps.filter(removed_at__isnull=True, origin=step.origin)
    near = (
        live.filter(position__lt=step.position).last() if earlier else live.filter(position__gt=step.position).first()
    )
    if near is None:
        raise ValidationError(_("This step cannot move any further in its stretch of the route."))
    first, second = (near, step) if earlier else (step, near)
    if second.back_to_id == first.pk:
        raise ValidationError(_("The later step sends the part back to the earlier one. Change that first."))
    here, there = step.position, near.position
    for one, position in ((step, 0), (near, here), (step, there)):
        Step.objects.filter(pk=one.pk).update(position=position)
    step.position = there
    record(who=who, at=now, what="step moved", subject=subject_of(step), before={"place": here}, after={"place": there})
    return step


@transaction.atomic
def wait_for(*, step: Step, on: Step, who: str, now: datetime) -> Wait:
    """Let ``step`` wait for ``on``. A circle of waits is refused, named part by part."""
    change_scope(step.part.restoration)
    if on.part.restoration_id != step.part.restoration_id:
        raise ValidationError(_("A step can only wait for a step of the same restoration."))
    wait = Wait(step=step, on=on)
    wait.full_clean()
    wait.save()
    try:
        check_order(*order_graph(step.part.restoration))
    except BadInput as error:
        raise ValidationError(error.sentence(_(error.template)), code="circle") from error
    record(who=who, at=now, what="wait added", subject=subject_of(step), after={"waits for": f"{on.part}: {on}"})
    return wait


@transaction.atomic
def stop_waiting(*, wait: Wait, who: str, now: datetime) -> None:
    """Remove a wait."""
    change_scope(wait.step.part.restoration)
    record(
        who=who,
        at=now,
        what="wait removed",
        subject=subject_of(wait.step),
        before={"waits for": f"{wait.on.part}: {wait.on}"},
    )
    wait.delete()


@transaction.atomic
def authorise(*, step_uids: Iterable[UUID], kind: Authorisation.Kind, reference: str, now: datetime) -> int:
    """Authorise steps that are not authorised yet; the number that became so."""
    wanted = set(step_uids)
    known = set(Authorisation.objects.filter(Q(step_uid__in=wanted)).values_list("step_uid", flat=True))
    rows = [Authorisation(step_uid=uid, kind=kind, reference=reference, at=now) for uid in sorted(wanted - known)]
    Authorisation.objects.bulk_create(rows)
    return len(rows)
