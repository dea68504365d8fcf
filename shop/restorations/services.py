"""Writes on customers, machines, restorations and parts. Every change of scope raises ``scope_version``."""

from collections.abc import Collection, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import CheckConstraint, F, Max, Model, Q
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.journal.telling import told as told  # what a service tells of is told here
from shop.methods.models import PartKind
from shop.restorations.models import Customer, FinishEvidence, Machine, Part, Restoration, Side
from shop.restorations.promising import refuse_cap_of_fixed

GAP = 10
FAR = 1_000_000_000
#: Nobody puts work off for longer than this: holidays are not known for ever.
LONGEST_AHEAD = timedelta(days=730)

#: Fields of a part that can change without its route; for the others see ``routes.parts.edit_part``.
PART_FIELDS = (
    "name",
    "area_name",
    "kind",
    "side",
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
    "basis",
    "cap_minor",
)

CUSTOMER_FIELDS = ("name", "address", "email", "phone")
MACHINE_FIELDS = ("maker", "model", "year", "frame_number", "engine_number", "market")

#: What finish evidence may be limited to.
EVIDENCE_SPEAKS_OF = {"year", "frame_number", "market"}


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
    market: str = "",
    who: str,
    now: datetime,
) -> Machine:
    """``market`` is where it was first sold."""
    machine = Machine(
        maker=maker.strip(),
        model=model.strip(),
        year=year,
        frame_number=frame_number,
        engine_number=engine_number,
        market=market.strip(),
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


def hold_scope(pk: int) -> None:
    """Hold the restoration ``pk`` until the running transaction ends, without saying that its scope changed.

    Called first, it puts two writers of one restoration in a row on both engines; what is read after it is what the
    other one wrote.
    """
    Restoration.objects.filter(pk=pk).update(scope_version=F("scope_version"))


def change_scope(restoration: Restoration) -> int:
    """Raise the scope version inside the running transaction, and hold the restoration as `hold_scope` does."""
    Restoration.objects.filter(pk=restoration.pk).update(scope_version=F("scope_version") + 1)
    restoration.refresh_from_db(fields=["scope_version"])
    return restoration.scope_version


def hold_part(part: Part) -> None:
    """Hold the restoration of ``part`` and read the part anew: what a page brought along may be old."""
    hold_scope(part.restoration_id)
    relations = [field.name for field in Part._meta.concrete_fields if field.is_relation]
    part.refresh_from_db(from_queryset=Part.objects.select_related(*relations))


def refuse_out_of_scope(part: Part) -> None:
    """Nothing about a part changes while it is out of scope."""
    if part.removed_at is not None:
        raise ValidationError(_("This part is out of scope. Bring it back first."), code="out of scope")


#: Which of two a part can be, by how its kind comes.
SIDES = {
    PartKind.Pair.LEFT_RIGHT: (Side.LEFT, Side.RIGHT),
    PartKind.Pair.FRONT_REAR: (Side.FRONT, Side.REAR),
    PartKind.Pair.UPPER_LOWER: (Side.UPPER, Side.LOWER),
}


def refuse_wrong_side(part: Part) -> None:
    """A kind that comes as left and right has no upper one. Which of the two it is may stay open."""
    pair = part.kind.pair if part.kind else ""
    if pair and part.side and part.side not in SIDES[PartKind.Pair(pair)]:
        one, other = (side.label for side in SIDES[PartKind.Pair(pair)])
        said = _("“%(kind)s” comes as %(one)s and %(other)s. Choose one of these, or leave it empty.")
        raise ValidationError({"side": said % {"kind": part.kind, "one": one, "other": other}})


@transaction.atomic
def add_part(*, restoration: Restoration, after: Part | None = None, who: str, now: datetime, **fields: Any) -> Part:
    """Add a part at the end of the outline, or right after another one."""
    change_scope(restoration)
    part = Part(restoration=restoration, position=place_after(restoration, after), **fields)
    part.name = part.name.strip()
    part.full_clean(exclude={"restoration", "position"}, validate_unique=False)
    refuse_wrong_side(part)
    part.save()
    record(who=who, at=now, what="part added", subject=subject_of(part), after=told(fields))
    return part


def place_after(restoration: Restoration, after: Part | None) -> int:
    """A free place at the end of the outline, or right after another part."""
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
    set_part(part=part, who=who, now=now, changes=changes, seen=seen, allowed=PART_FIELDS)
    return part


def set_part(
    *,
    part: Part,
    who: str,
    now: datetime,
    changes: Mapping[str, Any],
    seen: Mapping[str, Any] | None,
    allowed: Collection[str],
) -> set[str]:
    """Change ``allowed`` fields inside the running transaction; the names of those that were another value before.

    With none, nothing is written: no version, no entry in the journal.
    """
    hold_part(part)
    refuse_out_of_scope(part)
    before = set_fields(part, changes=changes, seen=seen, allowed=allowed)
    if before.keys() & {"kind", "side"}:
        refuse_wrong_side(part)
    _refuse_of_split(part, before)
    refuse_cap_of_fixed(part, before)
    if before:
        part.save(update_fields=list(before))
        change_scope(part.restoration)
        after = {field: changes[field] for field in before}
        record(who=who, at=now, what="part changed", subject=subject_of(part), before=told(before), after=told(after))
    return set(before)


#: What is agreed for all pieces together, and so cannot change while some of them go their own way.
OF_ALL_PIECES = ("pieces", "material", "old_finish", "agreed_finish")


def _refuse_of_split(part: Part, changed: Collection[str]) -> None:
    said = _(
        "Some of its pieces go their own way through the workshop. Put them together again first, on the page of its work."
    )
    wrong = {field: said for field in OF_ALL_PIECES if field in changed}
    if wrong and (part.split_from_id or part.split_into.filter(removed_at__isnull=True).exists()):
        raise ValidationError(wrong, code="split")


def _refuse_split_off(part: Part) -> None:
    if part.split_from_id:
        said = _(
            "These pieces belong to “%(part)s”. Change that one, or put them together again on the page of its work."
        )
        raise ValidationError(said % {"part": part.split_from}, code="split")


def set_fields(
    row: Model, *, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None, allowed: Collection[str]
) -> dict[str, Any]:
    """Set what differs on an unsaved ``row`` and validate it; the values before.

    Only what the change can have made wrong is looked at: the fields themselves, and constraints that speak of one.
    """
    for field in changes:
        if field not in allowed:
            raise ValidationError({field: _("This cannot be changed here.")})
    for field, value in (seen or {}).items():
        if getattr(row, field) != value and getattr(row, field) != changes.get(field):
            raise ChangedMeanwhileError(field, getattr(row, field))
    before = {field: getattr(row, field) for field in changes if getattr(row, field) != changes[field]}
    for field in before:
        setattr(row, field, changes[field])
    if before:
        row.full_clean(exclude=_untouched(row, set(before)), validate_unique=False)
    return before


def _untouched(row: Model, changed: set[str]) -> set[str]:
    together = [
        constraint.condition.referenced_base_fields
        for constraint in row._meta.constraints
        if isinstance(constraint, CheckConstraint) and isinstance(constraint.condition, Q)
    ]
    touched = changed.union(*(fields for fields in together if fields & changed))
    return {field.name for field in row._meta.concrete_fields} - touched


@transaction.atomic
def remove_part(*, part: Part, who: str, now: datetime) -> Part:
    """Take a part out of scope; `bring_back_part` undoes it. Out already, nothing changes."""
    hold_part(part)
    if part.removed_at is not None:
        return part
    _refuse_split_off(part)
    change_scope(part.restoration)
    part.removed_at = now
    part.save(update_fields=["removed_at"])
    record(who=who, at=now, what="part removed", subject=subject_of(part), before={"name": part.name})
    return part


@transaction.atomic
def bring_back_part(*, part: Part, who: str, now: datetime) -> Part:
    """Undo a removal: the same uid returns, at its old place or right after what took it. In scope, nothing changes.

    What its steps wait for is not looked at here: ``routes.parts.bring_back_routed_part`` does.
    """
    hold_part(part)
    if part.removed_at is None:
        return part
    _refuse_split_off(part)
    change_scope(part.restoration)
    taken = part.restoration.parts.filter(removed_at__isnull=True, position=part.position).first()
    if taken is not None:
        part.position = place_after(part.restoration, taken)
    part.removed_at = None
    part.save(update_fields=["removed_at", "position"])
    record(who=who, at=now, what="part brought back", subject=subject_of(part), after={"name": part.name})
    return part


@transaction.atomic
def change_restoration(
    *,
    restoration: Restoration,
    who: str,
    now: datetime,
    customer: Mapping[str, Any],
    machine: Mapping[str, Any],
    title: str,
    begun_on: date,
) -> Restoration:
    """Correct what was said when it was begun: fields of the customer, of the machine, title and day.

    What is not named stays. All that is wrong is said at once, by the plain names of the fields, and nothing is saved.
    The scope version stays, since what is to be done to the bike is the same, unless finish evidence may speak of another
    machine now.
    """
    hold_scope(restoration.pk)
    restoration.refresh_from_db(from_queryset=Restoration.objects.select_related("customer", "machine"))
    own = {"title": title.strip() or str(_named(restoration.machine, machine)), "begun_on": begun_on}
    given: list[tuple[Customer | Machine | Restoration, Mapping[str, Any], Collection[str]]] = [
        (restoration.customer, _stripped(customer), CUSTOMER_FIELDS),
        (restoration.machine, _stripped(machine), MACHINE_FIELDS),
        (restoration, own, own),
    ]
    wrong: dict[str, list[ValidationError]] = {}
    changed: list[tuple[Customer | Machine | Restoration, dict[str, Any]]] = []
    for row, changes, allowed in given:
        try:
            changed.append((row, set_fields(row, changes=changes, allowed=allowed)))
        except ValidationError as error:
            error.update_error_dict(wrong)
    if wrong:
        raise ValidationError(wrong)
    for row, before in changed:
        _save_corrected(row, before, who=who, now=now)
    corrected = {field for row, before in changed if isinstance(row, Machine) for field in before}
    if corrected & EVIDENCE_SPEAKS_OF and FinishEvidence.objects.filter(part__restoration=restoration).exists():
        change_scope(restoration)
    return restoration


def _stripped(fields: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value.strip() if isinstance(value, str) else value for name, value in fields.items()}


def _named(machine: Machine, fields: Mapping[str, Any]) -> Machine:
    """How ``machine`` would be called with ``fields``."""
    return Machine(**{name: fields.get(name, getattr(machine, name)) for name in ("maker", "model", "year")})


def _save_corrected(
    row: Customer | Machine | Restoration, before: Mapping[str, Any], *, who: str, now: datetime
) -> None:
    if not before:
        return
    row.save(update_fields=list(before))
    after = {field: getattr(row, field) for field in before}
    what = f"{row._meta.model_name} corrected"
    record(who=who, at=now, what=what, subject=subject_of(row), before=told(before), after=told(after))


@transaction.atomic
def start_on(*, restoration: Restoration, starts_on: date | None, who: str, now: datetime) -> Restoration:
    """Say from which day on work can go on; None for at once. The plan follows."""
    if starts_on and abs(starts_on - now.date()) > LONGEST_AHEAD:
        raise ValidationError({"starts_on": _("That is more than two years away. Give a nearer day.")})
    hold_scope(restoration.pk)
    restoration.refresh_from_db(fields=["starts_on"])
    before = restoration.starts_on
    if before == starts_on:
        return restoration
    restoration.starts_on = starts_on
    restoration.save(update_fields=["starts_on"])
    change_scope(restoration)
    subject = subject_of(restoration)
    record(who=who, at=now, what="start changed", subject=subject, before={"day": before}, after={"day": starts_on})
    return restoration
