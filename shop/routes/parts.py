"""Writes on parts with their routes: laying them out, adding them, editing them, choosing finishes."""

from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from datetime import datetime
from typing import Any
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from shop.journal.services import Change, record, record_all, subject_of, told_together
from shop.journal.telling import told
from shop.methods.models import Finish, Template, TemplatePart
from shop.restorations import services as restorations
from shop.restorations.models import Part, Restoration
from shop.restorations.services import PART_FIELDS, add_part, change_scope, set_part
from shop.routes.images import image, note_laid
from shop.routes.laying import (
    GAP,
    Laid,
    Routes,
    all_routes,
    finish_steps,
    link_ways_back,
    save_all_laid,
    save_laid,
    stretch,
    strip_steps,
)
from shop.routes.models import Step, Wait
from shop.routes.order import refuse_circles
from shop.routes.replacing import replace

ROUTE_FIELDS = ("material", "old_finish", "agreed_finish")
FROM_TEMPLATE = (
    "depth",
    "area_name",
    "name",
    "kind",
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
        template.parts.select_related("kind", "size_class", "finish", "old_finish")
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


def _template_steps(part: Part, row: TemplatePart, routes: Routes) -> list[Laid]:
    """The four stretches of a part's route, unsaved."""
    steps = sorted(row.steps.all(), key=lambda step: step.position)
    before = [step for step in steps if not step.after_finish]
    after = [step for step in steps if step.after_finish]
    return [
        stretch(part, Step.Origin.BEFORE, before, finish=None),
        strip_steps(part, routes),
        finish_steps(part, routes),
        stretch(part, Step.Origin.AFTER, after, finish=None),
    ]


def _template_waits(rows: Sequence[TemplatePart], laid: Mapping[int, list[Laid]]) -> list[Wait]:
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
    save_laid(strip_steps(part, known))
    save_laid(finish_steps(part, known))
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
    save_all_laid([pairs for part in parts for pairs in (strip_steps(part, known), finish_steps(part, known))])
    changes = [Change(subject_of(part), after=told(row)) for part, row in zip(parts, rows, strict=True)]
    record_all(who=who, at=now, what="part added", changes=changes)
    return parts


def _part_from(row: Mapping[str, Any], restoration: Restoration, position: int) -> Part:
    fields = {"factory_finish": row.get("finish")} | dict(row)
    part = Part(restoration=restoration, position=position, agreed_finish=fields.pop("finish", None), **fields)
    part.name = part.name.strip()
    part.clean_fields(exclude={field.name for field in Part._meta.concrete_fields if field.is_relation})
    return part


@transaction.atomic
def edit_part(
    *,
    part: Part,
    who: str,
    now: datetime,
    changes: Mapping[str, Any],
    seen: Mapping[str, Any] | None = None,
    routes: Routes | None = None,
    look_for_circles: bool = True,
) -> Part:
    """Change fields of a part; where material or finishes change, its route follows.

    ``seen`` is what the person saw: another value there raises `ChangedMeanwhileError` and nothing is saved. Raises
    `NoRouteError` when nobody has said how to put the finish on the material, or how to take it off. Whoever edits many
    parts brings the ``routes`` along and looks for circles once, at the end.
    """
    with told_together(f"change {uuid4()}") if changes.keys() & set(ROUTE_FIELDS) else nullcontext():
        changed = put_fields(part=part, who=who, now=now, changes=changes, seen=seen)
        if changed & set(ROUTE_FIELDS):
            moved = lay_anew(part, changed, routes or all_routes(), who=who, now=now)
            if moved and look_for_circles:
                refuse_circles(part.restoration)
    return part


def put_fields(
    *, part: Part, who: str, now: datetime, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None
) -> set[str]:
    """Change fields of a part inside the running transaction and leave its route alone; those that were another value."""
    return set_part(part=part, who=who, now=now, changes=changes, seen=seen, allowed=PART_FIELDS + ROUTE_FIELDS)


def choose_finish(*, part: Part, finish: Finish | None, who: str, now: datetime) -> Part:
    """Agree on another finish: its route replaces the old one's, and what waited for that waits for this."""
    return edit_part(part=part, who=who, now=now, changes={"agreed_finish": finish})


def choose_old_finish(*, part: Part, finish: Finish | None, who: str, now: datetime) -> Part:
    """Say which finish has to come off first."""
    return edit_part(part=part, who=who, now=now, changes={"old_finish": finish})


def lay_anew(part: Part, changed: set[str], routes: Routes, *, who: str, now: datetime) -> bool:
    """Lay the stretches that hang on ``changed`` fields anew; whether waits moved, so that somebody must look for circles."""
    before = image(part)
    moved = False
    if changed & {"material", "old_finish"}:
        moved |= replace(part, Step.Origin.STRIP, strip_steps(part, routes), now=now)
    if changed & {"material", "agreed_finish"}:
        moved |= replace(part, Step.Origin.FINISH, finish_steps(part, routes), now=now)
    note_laid(part, before, who=who, now=now)
    return moved


@transaction.atomic
def bring_back_routed_part(*, part: Part, who: str, now: datetime) -> Part:
    """Undo a removal with what its steps wait for; refused when that would be a circle by now."""
    restorations.bring_back_part(part=part, who=who, now=now)
    refuse_circles(part.restoration)
    return part
