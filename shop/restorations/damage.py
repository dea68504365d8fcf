"""Writes on possible damage: what a part may turn out to have, who pays if it is found, and what became of it.

Every write is a change of scope: what may be found is part of what is offered.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.journal.telling import told
from shop.methods.models import COSTS, Frequency, PossibleDamage
from shop.methods.sentences import refuse_out_of_order
from shop.papers.models import Photograph
from shop.restorations.models import Part, PartDamage
from shop.restorations.services import change_scope, hold_part, refuse_out_of_scope, set_fields

FROM_LIBRARY = ("name", "frequency", *COSTS, "cost_class")
DAMAGE_FIELDS = (*FROM_LIBRARY, "treatment")


@transaction.atomic
def add_usual(
    *, part: Part, treatment: PartDamage.Treatment = PartDamage.Treatment.OURS, who: str, now: datetime
) -> list[PartDamage]:
    """Add all damages the library knows for the kind of ``part`` that are not on it; those taken away come back.

    Gives back those that were added, and changes nothing where there are none. What was settled stays settled.
    """
    hold_part(part)
    refuse_out_of_scope(part)
    if part.kind is None:
        raise ValidationError({"kind": _("Say first what kind of part it is. Each kind has its usual damages.")})
    known = {row.damage_id: row for row in part.damages.exclude(damage=None).order_by("-removed_at")}
    added = [
        row
        for usual in PossibleDamage.objects.filter(kind=part.kind, ended=False)
        if (row := _usual(part, usual, known.get(usual.pk), treatment)) is not None
    ]
    for row in added:
        _keep_new(row, who=who, now=now)
    if added:
        change_scope(part.restoration)
    return added


def _usual(
    part: Part, usual: PossibleDamage, there: PartDamage | None, treatment: PartDamage.Treatment
) -> PartDamage | None:
    """The row to be added for a damage of the library; None when it stands there already."""
    if there is not None and (there.removed_at is None or there.settled):
        return None
    row = there or PartDamage(part=part, damage=usual)
    row.removed_at = None
    row.treatment = treatment
    for name in FROM_LIBRARY:
        setattr(row, name, getattr(usual, name))
    return row


@transaction.atomic
def add_by_hand(*, part: Part, who: str, now: datetime, **fields: Any) -> PartDamage:
    """Add a damage the library does not know: fields of ``DAMAGE_FIELDS``. Raises `ValidationError` at the field."""
    hold_part(part)
    refuse_out_of_scope(part)
    row = PartDamage(part=part, **{name: fields[name] for name in DAMAGE_FIELDS if name in fields})
    _keep_new(row, who=who, now=now)
    change_scope(part.restoration)
    return row


def _keep_new(row: PartDamage, *, who: str, now: datetime) -> None:
    row.name = row.name.strip()
    refuse_out_of_order({name: getattr(row, name) for name in COSTS}, typed=COSTS)
    row.full_clean(exclude={"part", "damage"}, validate_unique=False)
    row.save()
    after = told({name: getattr(row, name) for name in DAMAGE_FIELDS})
    record(who=who, at=now, what="possible damage added", subject=subject_of(row), after=after)


@transaction.atomic
def change_damage(
    *, damage: PartDamage, who: str, now: datetime, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None
) -> PartDamage:
    """Change fields of ``DAMAGE_FIELDS`` before it is settled; ``seen`` as in `change_part`."""
    hold_damage(damage)
    refuse_settled(damage)
    given = {name: value.strip() if isinstance(value, str) else value for name, value in changes.items()}
    refuse_out_of_order({name: given.get(name, getattr(damage, name)) for name in COSTS}, typed=set(given))
    before = set_fields(damage, changes=given, seen=seen, allowed=DAMAGE_FIELDS)
    if before:
        damage.save(update_fields=list(before))
        change_scope(damage.part.restoration)
        after = {name: given[name] for name in before}
        what = "possible damage changed"
        record(who=who, at=now, what=what, subject=subject_of(damage), before=told(before), after=told(after))
    return damage


@transaction.atomic
def remove_damage(*, damage: PartDamage, who: str, now: datetime) -> PartDamage:
    """Take a possible damage away; `bring_back_damage` undoes it. Away already, nothing changes."""
    hold_damage(damage, removed=True)
    if damage.removed_at is not None:
        return damage
    refuse_settled(damage)
    damage.removed_at = now
    damage.save(update_fields=["removed_at"])
    change_scope(damage.part.restoration)
    what = "possible damage removed"
    record(who=who, at=now, what=what, subject=subject_of(damage), before={"name": damage.name})
    return damage


@transaction.atomic
def bring_back_damage(*, damage: PartDamage, who: str, now: datetime) -> PartDamage:
    """Undo a removal: the same uid returns. There already, nothing changes."""
    hold_damage(damage, removed=True)
    if damage.removed_at is None:
        return damage
    damage.removed_at = None
    damage.save(update_fields=["removed_at"])
    change_scope(damage.part.restoration)
    what = "possible damage brought back"
    record(who=who, at=now, what=what, subject=subject_of(damage), after={"name": damage.name})
    return damage


def list_found(*, part: Part, uid: UUID, usual: PossibleDamage | None, name: str) -> PartDamage:
    """A row for what was found without having been listed, inside the running transaction; `note_settled` says the rest.

    As the library knows it (``usual``), or under a ``name`` of its own. It never was a chance, so one that the library does
    not know has no costs. Who pays: the customer, at a price agreed before the work starts.
    """
    hold_part(part)
    refuse_out_of_scope(part)
    row = PartDamage(part=part, uid=uid, damage=usual, treatment=PartDamage.Treatment.PROVISIONAL)
    if usual is None:
        row.name, row.frequency = name.strip(), Frequency.SOMETIMES
        row.low_minor = row.likely_minor = row.high_minor = 0
    else:
        if usual.kind_id != part.kind_id:
            raise ValidationError({"what": _("This damage is of another kind of part. Choose one from the list.")})
        for field in FROM_LIBRARY:
            setattr(row, field, getattr(usual, field))
    row.full_clean(exclude={"part", "damage", "photographs"}, validate_unique=False)
    row.save()
    return row


def add_photograph(*, damage: PartDamage, photograph: Photograph, who: str, now: datetime) -> None:
    """Put a photograph that was kept already beside the damage it shows, inside the running transaction."""
    damage.photographs.add(photograph)
    after = {"photograph": photograph.caption}
    record(who=who, at=now, what="damage photographed", subject=subject_of(damage), after=after)


def note_settled(*, damage: PartDamage, settled: PartDamage.Settled, note: str, who: str, now: datetime) -> PartDamage:
    """Write down, once and inside the running transaction, what became of a damage; `routes.damages.settle` does the rest.

    Raises `ValidationError` when it is settled already, taken away, or found without a word on what was seen.
    """
    hold_damage(damage)
    refuse_settled(damage)
    damage.settled, damage.settled_at, damage.settled_by, damage.note = settled, now, who, note.strip()
    if damage.settled == PartDamage.Settled.FOUND and not damage.note:
        damage.settled = ""
        raise ValidationError({"note": _("Say in a word what was seen.")})
    damage.full_clean(exclude={"part", "damage", "photographs"}, validate_unique=False)
    damage.save(update_fields=["settled", "settled_at", "settled_by", "note"])
    change_scope(damage.part.restoration)
    after = {"treatment": damage.treatment, "note": damage.note}
    what = "damage found" if damage.settled == PartDamage.Settled.FOUND else "damage not found"
    record(who=who, at=now, what=what, subject=subject_of(damage), after=after)
    return damage


def hold_damage(damage: PartDamage, *, removed: bool = False) -> None:
    """Hold the restoration and read the damage anew. One that was taken away is refused unless ``removed``."""
    hold_part(damage.part)
    refuse_out_of_scope(damage.part)
    damage.refresh_from_db(from_queryset=PartDamage.objects.select_related("part__restoration", "damage"))
    if damage.removed_at is not None and not removed:
        raise ValidationError(_("This possible damage was taken away. Bring it back first."))


def refuse_settled(damage: PartDamage) -> None:
    """What was found, or was not, stays what it is."""
    if damage.settled:
        said = _("“%(damage)s” is settled already: %(settled)s. What was settled stays.")
        raise ValidationError(said % {"damage": damage.name, "settled": damage.get_settled_display()})
