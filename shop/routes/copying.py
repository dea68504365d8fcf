"""Parts and routes of an earlier restoration, taken for another one: how it is done, never what was agreed or found there.

Taken: parts in scope with sizes and finishes, steps on their routes with quantities, chances, ways back and waits, purchases,
and what strip-down may reveal. Left behind: finish evidence, signatures, what damage was found and the steps laid for it,
authorisations, caps agreed, and how far a price of a purchase could be relied on: it is a guess again.
"""

import uuid
from collections.abc import Iterable, Mapping
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Q, QuerySet
from django.utils.translation import gettext as _

from shop.journal.models import Entry
from shop.journal.services import record, subject_of
from shop.journal.telling import named
from shop.rates.models import Status
from shop.restorations.models import Part, PartDamage, Restoration
from shop.restorations.services import change_scope
from shop.routes.damages import reference
from shop.routes.models import Step, Wait
from shop.routes.selectors import Scope, scope

WHAT = "parts taken from an earlier bike"
PART_STAYS = {"id", "uid", "restoration", "cap_minor", "split_from", "removed_at"}
STEP_STAYS = {
    "id",
    "uid",
    "part",
    "back_to",
    "visit",
    "split_from",
    "removed_at",
    "buy_status",
    "buy_said_by",
    "buy_said_on",
    "buy_valid_until",
    "buy_searching_since",
    "buy_core_by",
}
DAMAGE_TAKEN = (
    "damage_id",
    "name",
    "frequency",
    "low_minor",
    "likely_minor",
    "high_minor",
    "cost_class",
    "treatment",
)


def earlier(words: str) -> QuerySet[Restoration]:
    """Restorations with parts whose title, machine or numbers hold every one of ``words``; the newest first."""
    found = Restoration.objects.select_related("machine", "customer").annotate(
        parts_in_scope=Count("parts", filter=Q(parts__removed_at__isnull=True, parts__split_from__isnull=True))
    )
    for word in words.split():
        one = Q(title__icontains=word) | Q(customer__name__icontains=word)
        for name in ("maker", "model", "frame_number", "engine_number"):
            one |= Q(**{f"machine__{name}__icontains": word})
        if word.isdigit():
            one |= Q(machine__year=int(word[:9]))
        found = found.filter(one)
    return found.filter(parts_in_scope__gt=0).order_by("-begun_on", "-pk")


def left_behind(restoration: Restoration) -> set[uuid.UUID]:
    """The steps that were laid because a damage was found: the next bike's damage is yet to be found."""
    found = PartDamage.objects.filter(part__restoration=restoration, settled=PartDamage.Settled.FOUND)
    references = [reference(row) for row in found]
    if not references:
        return set()
    steps = Step.objects.filter(part__restoration=restoration, origin=Step.Origin.BEFORE).values("uid")
    laid = Entry.objects.filter(
        subject_type=Step._meta.label_lower, subject_uid__in=steps, what="step added", reference__in=references
    )
    return set(laid.values_list("subject_uid", flat=True))


@transaction.atomic
def copy_parts(*, restoration: Restoration, earlier: Restoration, who: str, now: datetime) -> list[Part]:
    """Give ``restoration``, which has no parts yet, those of ``earlier``; in a fixed number of queries."""
    change_scope(restoration)
    if restoration.parts.filter(removed_at__isnull=True).exists():
        raise ValidationError(_("This restoration has parts already. Begin a new one from the earlier bike."))
    found = scope(earlier)
    left = left_behind(earlier)
    parts = {row.pk: _part_for(restoration, row) for row in found.parts}
    Part.objects.bulk_create(parts.values())
    taken = {step.pk: step for rows in found.steps.values() for step in rows if step.uid not in left}
    steps = {pk: _step_for(parts[step.part_id], step) for pk, step in taken.items()}
    Step.objects.bulk_create(steps.values())
    Step.objects.bulk_update(_ways_back(found, taken, steps), ["back_to"])
    Wait.objects.bulk_create(_waits(found, taken, steps))
    PartDamage.objects.bulk_create(_damages(earlier, parts))
    record(
        who=who,
        at=now,
        what=WHAT,
        subject=subject_of(restoration),
        after={"earlier bike": named(earlier), "parts": len(parts), "steps": len(steps)},
    )
    return list(parts.values())


def _part_for(restoration: Restoration, row: Part) -> Part:
    kept = {f.attname: getattr(row, f.attname) for f in Part._meta.concrete_fields if f.name not in PART_STAYS}
    return Part(restoration=restoration, **kept)


def _step_for(part: Part, row: Step) -> Step:
    kept = {f.attname: getattr(row, f.attname) for f in Step._meta.concrete_fields if f.name not in STEP_STAYS}
    return Step(part=part, buy_status=Status.GUESSED, **kept)


def _standing(found: Scope, step: Step | None, taken: Mapping[int, Step]) -> Step | None:
    """A step that is taken; where it is left behind, the one before it on its part, or none."""
    if step is None or step.pk in taken:
        return step
    before = [row for row in found.steps[step.part_id] if row.position < step.position and row.pk in taken]
    return before[-1] if before else None


def _ways_back(found: Scope, taken: Mapping[int, Step], steps: Mapping[int, Step]) -> list[Step]:
    changed = []
    for pk, step in taken.items():
        back = _standing(found, found.way_back(step), taken) if step.back_to_id else None
        if back is not None and back.pk != pk:
            steps[pk].back_to = steps[back.pk]
            changed.append(steps[pk])
    return changed


def _waits(found: Scope, taken: Mapping[int, Step], steps: Mapping[int, Step]) -> list[Wait]:
    pairs: dict[tuple[int, int], Wait] = {}
    for pk in taken:
        for wait in found.waits.get(pk, ()):
            on = _standing(found, found.step_by_pk[wait.on_id], taken)
            if on is not None and on.pk != pk:
                pairs[pk, on.pk] = Wait(step=steps[pk], on=steps[on.pk])
    return list(pairs.values())


def _damages(earlier: Restoration, parts: Mapping[int, Part]) -> Iterable[PartDamage]:
    """What strip-down may reveal is open again, whatever it revealed there."""
    rows = PartDamage.objects.filter(part__in=parts, removed_at__isnull=True).order_by("pk")
    for row in rows.filter(part__restoration=earlier):
        yield PartDamage(part=parts[row.part_id], **{name: getattr(row, name) for name in DAMAGE_TAKEN})
