"""Writes on customers, machines, restorations and parts. Every change of scope raises ``scope_version``."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, Max
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.restorations.models import Customer, Machine, Part, Restoration

GAP = 10
FAR = 1_000_000_000

#: Fields of a part that can change without its route; for the others see ``routes.services.edit_part``.
PART_FIELDS = (
    "name",
    "area_name",
    "depth",
    "pieces",
    "size_class",
    "area",
    "weight",
    "openings",
    "spokes",
    "condition",
    "strength",
    "thickness",
    "factory_finish",
    "deviation",
    "tax",
)


class ChangedMeanwhileError(Exception):
    """Somebody else changed the field first; ``now`` is what it holds."""

    def __init__(self, field: str, now: object) -> None:
        self.field, self.now = field, now
        super().__init__(field)


@transaction.atomic
def add_customer(
    *, name: str, address: str = "", email: str = "", phone: str = "", who: str, now: datetime
) -> Customer:
    customer = Customer(name=name.strip(), address=address, email=email, phone=phone)
    customer.full_clean()
    customer.save()
    record(who=who, at=now, what="customer added", subject=subject_of(customer), after={"name": customer.name})
    return customer


@transaction.atomic
def add_machine(
    *,
    maker: str,
    model: str,
    year: int | None = None,
    frame_number: str = "",
    engine_number: str = "",
    who: str,
    now: datetime,
) -> Machine:
    machine = Machine(
        maker=maker.strip(), model=model.strip(), year=year, frame_number=frame_number, engine_number=engine_number
    )
    machine.full_clean()
    machine.save()
    record(
        who=who,
        at=now,
        what="machine added",
        subject=subject_of(machine),
        after={"frame number": frame_number, "engine number": engine_number},
    )
    return machine


@transaction.atomic
def begin(
    *, customer: Customer, machine: Machine, title: str = "", begun_on: date, who: str, now: datetime
) -> Restoration:
    restoration = Restoration(
        customer=customer, machine=machine, title=title.strip() or str(machine), begun_on=begun_on
    )
    restoration.full_clean()
    restoration.save()
    record(
        who=who,
        at=now,
        what="restoration begun",
        subject=subject_of(restoration),
        after={"customer": customer.name, "machine": str(machine), "begun on": begun_on},
    )
    return restoration


def change_scope(restoration: Restoration) -> int:
    """Raise the scope version inside the running transaction, and hold the restoration until it ends.

    Called first, it puts two writers of one restoration in a row on both engines; checks after it see what the
    other one wrote.
    """
    Restoration.objects.filter(pk=restoration.pk).update(scope_version=F("scope_version") + 1)
    restoration.refresh_from_db(fields=["scope_version"])
    return restoration.scope_version


@transaction.atomic
def add_part(*, restoration: Restoration, after: Part | None = None, who: str, now: datetime, **fields: Any) -> Part:
    """Add a part at the end of the outline, or right after another one."""
    change_scope(restoration)
    part = Part(restoration=restoration, position=_place_after(restoration, after), **fields)
    part.name = part.name.strip()
    part.full_clean(validate_unique=False, validate_constraints=False)
    part.validate_constraints()
    part.save()
    record(who=who, at=now, what="part added", subject=subject_of(part), after=_told(fields))
    return part


def _place_after(restoration: Restoration, after: Part | None) -> int:
    parts = restoration.parts.filter(removed_at__isnull=True)
    if after is None:
        return (parts.aggregate(last=Max("position"))["last"] or 0) + GAP
    following = parts.filter(position__gt=after.position).order_by("position").first()
    if following is None or following.position - after.position > 1:
        return after.position + max(
            1, ((following.position if following else after.position + 2 * GAP) - after.position) // 2
        )
    # No room: move what follows far away and back, so that no two parts share a place on the way.
    later = parts.filter(position__gt=after.position)
    later.update(position=F("position") + FAR)
    parts.filter(position__gt=FAR).update(position=F("position") - FAR + GAP)
    return after.position + 1


@transaction.atomic
def change_part(
    *, part: Part, who: str, now: datetime, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None
) -> Part:
    """Change fields of ``PART_FIELDS``. ``seen`` is what the person saw: another value there raises
    `ChangedMeanwhileError` and nothing is saved.
    """
    change_scope(part.restoration)
    part.refresh_from_db()
    for field in changes:
        if field not in PART_FIELDS:
            raise ValidationError({field: _("This cannot be changed here.")})
    for field, value in (seen or {}).items():
        if getattr(part, field) != value and getattr(part, field) != changes.get(field):
            raise ChangedMeanwhileError(field, getattr(part, field))
    before = {field: getattr(part, field) for field in changes}
    for field, value in changes.items():
        setattr(part, field, value)
    part.full_clean(validate_unique=False, validate_constraints=False)
    part.validate_constraints()
    part.save()
    record(who=who, at=now, what="part changed", subject=subject_of(part), before=_told(before), after=_told(changes))
    return part


@transaction.atomic
def remove_part(*, part: Part, who: str, now: datetime) -> Part:
    """Take a part out of scope; `bring_back_part` undoes it."""
    change_scope(part.restoration)
    part.removed_at = now
    part.save(update_fields=["removed_at"])
    record(who=who, at=now, what="part removed", subject=subject_of(part), before={"name": part.name})
    return part


@transaction.atomic
def bring_back_part(*, part: Part, who: str, now: datetime) -> Part:
    """Undo a removal: the same uid returns, at its old place or right after what took it."""
    change_scope(part.restoration)
    taken = part.restoration.parts.filter(removed_at__isnull=True, position=part.position).first()
    if taken is not None:
        part.position = _place_after(part.restoration, taken)
    part.removed_at = None
    part.save(update_fields=["removed_at", "position"])
    record(who=who, at=now, what="part brought back", subject=subject_of(part), after={"name": part.name})
    return part


def _told(fields: Mapping[str, Any]) -> dict[str, object]:
    """Fields as the journal keeps them: things by name."""
    return {
        name.replace("_", " "): (str(value) if hasattr(value, "_meta") else value) for name, value in fields.items()
    }
