"""How the work of each kind of journal entry is looked at, and put back. Called inside the transaction of `undoing.undo`."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db.models import Model
from django.utils.translation import gettext as _

from quotes.pricing import services as pricing
from quotes.pricing.models import Draft
from shop.journal.models import Entry
from shop.journal.services import Subject, kept
from shop.journal.telling import field_of, recalled, told
from shop.papers import photographs
from shop.papers.models import Photograph
from shop.restorations import damage as damages
from shop.restorations import evidence as evidences
from shop.restorations import services as restorations
from shop.restorations.models import Customer, FinishEvidence, Machine, Part, PartDamage, Restoration
from shop.routes import images
from shop.routes import services as routes
from shop.routes.models import Step, Wait
from shop.routes.parts import bring_back_routed_part, put_fields

M = TypeVar("M", bound=Model)


@dataclass(frozen=True, slots=True)
class Difference:
    """Where something is not what an entry left there; ``key`` is the field in the journal's words, or empty."""

    entry: Entry
    key: str
    label: str
    left: Any = None
    now: Any = None


def before(entry: Entry) -> dict[str, Any]:
    result: dict[str, Any] = json.loads(entry.before)
    return result


def after(entry: Entry) -> dict[str, Any]:
    result: dict[str, Any] = json.loads(entry.after)
    return result


# -- finding -----------------------------------------------------------------------------------------------------------


def _row(model: type[M], entry: Entry, *with_them: str) -> M:
    row = model._default_manager.select_related(*with_them).filter(uid=entry.subject_uid).first()
    if row is None:
        raise ValidationError(_("“%(name)s” is not there any more.") % {"name": entry.subject_label})
    return row


def part(entry: Entry) -> Part:
    return _row(Part, entry, "restoration")


def step(entry: Entry) -> Step:
    return _row(Step, entry, "part__restoration", "operation", "service", "back_to")


def restoration(entry: Entry) -> Restoration:
    return _row(Restoration, entry)


def customer(entry: Entry) -> Customer:
    return _row(Customer, entry)


def machine(entry: Entry) -> Machine:
    return _row(Machine, entry)


def evidence(entry: Entry) -> FinishEvidence:
    return _row(FinishEvidence, entry, "part__restoration")


def damage(entry: Entry) -> PartDamage:
    return _row(PartDamage, entry, "part__restoration")


def draft(entry: Entry) -> Draft:
    return Draft.objects.select_related("restoration").get(restoration=restoration(entry))


# -- fields ------------------------------------------------------------------------------------------------------------


def fields(entry: Entry, row: Model) -> list[Difference]:
    """Fields that hold another value than the entry left in them."""
    names = {field.name: field for field in row._meta.concrete_fields}
    found = []
    for key, left in after(entry).items():
        field = names.get(field_of(key))
        if field is None:
            continue
        now = kept(told({field.name: getattr(row, field.name)}))[key]
        if _bare(now) != _bare(left):
            found.append(Difference(entry, key, str(field.verbose_name), left, now))
    return found


def _column(model: type[Model], name: str) -> Any:
    return model._meta.get_field(name)


def _bare(value: Any) -> Any:
    """A thing without its name: renamed, it is the same."""
    if isinstance(value, Mapping):
        return {name: item for name, item in value.items() if name != "name"}
    return value


def part_fields_back(entry: Entry, row: Part, who: str, now: datetime) -> None:
    put_fields(part=row, who=who, now=now, changes=recalled(Part, before(entry)))


def step_fields_back(entry: Entry, row: Step, who: str, now: datetime) -> None:
    routes.change_step(step=row, who=who, now=now, changes=recalled(Step, before(entry)))


def evidence_fields_back(entry: Entry, row: FinishEvidence, who: str, now: datetime) -> None:
    evidences.change_evidence(evidence=row, who=who, now=now, changes=recalled(FinishEvidence, before(entry)))


def damage_fields_back(entry: Entry, row: PartDamage, who: str, now: datetime) -> None:
    damages.change_damage(damage=row, who=who, now=now, changes=recalled(PartDamage, before(entry)))


def draft_back(entry: Entry, row: Draft, who: str, now: datetime) -> None:
    pricing.change_draft(draft=row, who=who, now=now, changes=recalled(Draft, before(entry)))


def priced_on_back(entry: Entry, row: Draft, who: str, now: datetime) -> None:
    pricing.price_anew(draft=row, today=date.fromisoformat(before(entry)["priced on"]), who=who, now=now)


def facts_back(entry: Entry, row: Customer | Machine | Restoration, who: str, now: datetime) -> None:
    """Customer and machine may belong to several restorations: any of them will do."""
    was = recalled(type(row), before(entry))
    owner = row if isinstance(row, Restoration) else row.restorations.order_by("pk")[0]
    restorations.change_restoration(
        restoration=owner,
        customer=was if isinstance(row, Customer) else {},
        machine=was if isinstance(row, Machine) else {},
        title=was.get("title", owner.title) if isinstance(row, Restoration) else owner.title,
        begun_on=was.get("begun_on", owner.begun_on) if isinstance(row, Restoration) else owner.begun_on,
        who=who,
        now=now,
    )


def starts(entry: Entry, row: Restoration) -> list[Difference]:
    left, now = after(entry)["day"], row.starts_on.isoformat() if row.starts_on else None
    label = str(_column(Restoration, "starts_on").verbose_name)
    return [] if left == now else [Difference(entry, "day", label, left, now)]


def start_back(entry: Entry, row: Restoration, who: str, now: datetime) -> None:
    day = before(entry)["day"]
    restorations.start_on(restoration=row, starts_on=date.fromisoformat(day) if day else None, who=who, now=now)


# -- there, or not -----------------------------------------------------------------------------------------------------


def there(_entry: Entry, row: Any) -> list[Difference]:
    if row.removed_at is not None:
        raise ValidationError(_("“%(name)s” is out already: there is nothing to undo.") % {"name": row})
    return []


def there_as_added(entry: Entry, row: Part) -> list[Difference]:
    return there(entry, row) or fields(entry, row)


def away(_entry: Entry, row: Any) -> list[Difference]:
    if row.removed_at is None:
        raise ValidationError(_("“%(name)s” is back already: there is nothing to undo.") % {"name": row})
    return []


def take_part_out(_entry: Entry, row: Part, who: str, now: datetime) -> None:
    restorations.remove_part(part=row, who=who, now=now)


def bring_part_back(_entry: Entry, row: Part, who: str, now: datetime) -> None:
    bring_back_routed_part(part=row, who=who, now=now)


def take_step_off(_entry: Entry, row: Step, who: str, now: datetime) -> None:
    routes.remove_step(step=row, who=who, now=now)


def step_away(entry: Entry, row: Step) -> list[Difference]:
    """A step of a finish comes back onto the route of that finish only, unless somebody says so."""
    away(entry, row)
    finish = before(entry).get("finish")
    if finish is None:
        return []
    name = "agreed_finish" if row.origin == Step.Origin.FINISH else "old_finish"
    now = kept(told({name: getattr(row.part, name)}))[name.replace("_", " ")]
    label = str(_column(Part, name).verbose_name)
    return [] if _bare(now) == _bare(finish) else [Difference(entry, "finish", label, finish, now)]


def bring_step_back(_entry: Entry, row: Step, who: str, now: datetime) -> None:
    routes.bring_back_step(step=row, who=who, now=now)


def take_evidence_away(_entry: Entry, row: FinishEvidence, who: str, now: datetime) -> None:
    evidences.remove_evidence(evidence=row, who=who, now=now)


def bring_evidence_back(_entry: Entry, row: FinishEvidence, who: str, now: datetime) -> None:
    evidences.bring_back_evidence(evidence=row, who=who, now=now)


def take_damage_away(_entry: Entry, row: PartDamage, who: str, now: datetime) -> None:
    damages.remove_damage(damage=row, who=who, now=now)


def bring_damage_back(_entry: Entry, row: PartDamage, who: str, now: datetime) -> None:
    damages.bring_back_damage(damage=row, who=who, now=now)


# -- photographs -------------------------------------------------------------------------------------------------------


def photograph(entry: Entry) -> Photograph:
    """Also one that is away."""
    return Photograph.ever.get(uid=after(entry)["photograph"]["uid"])


def photograph_away(_entry: Entry, row: Photograph) -> list[Difference]:
    if row.taken_away_at is None:
        raise ValidationError(_("“%(name)s” is back already: there is nothing to undo.") % {"name": row})
    return []


def photograph_there(_entry: Entry, row: Photograph) -> list[Difference]:
    if row.taken_away_at is not None:
        raise ValidationError(_("“%(name)s” is out already: there is nothing to undo.") % {"name": row})
    return []


def bring_photograph_back(entry: Entry, row: Photograph, who: str, now: datetime) -> None:
    photographs.bring_back(photograph=row, of=_same_subject(entry), who=who, now=now)


def take_photograph_away(entry: Entry, row: Photograph, who: str, now: datetime) -> None:
    """For the reason it was away for before."""
    why = before(entry)["taken away why"]
    photographs.take_away(photograph=row, of=_same_subject(entry), why=why, who=who, now=now)


def _same_subject(entry: Entry) -> Subject:
    return Subject(entry.subject_type, entry.subject_uid, entry.subject_label)


# -- routes ------------------------------------------------------------------------------------------------------------


def route(entry: Entry, row: Part) -> list[Difference]:
    if images.stands(row, after(entry), before(entry)):
        return []
    return [Difference(entry, "", _("the route of %(part)s") % {"part": row})]


def route_back(entry: Entry, row: Part, who: str, now: datetime) -> None:
    images.put_back(part=row, left=after(entry), was=before(entry), who=who, now=now)


def place(entry: Entry, row: Step) -> list[Difference]:
    """Moved back, a step changes places with the one it changed places with: the one that stands where it stood."""
    here, there_now = before(entry)["place"], after(entry)["place"]
    live = row.part.steps.filter(removed_at__isnull=True, origin=row.origin)
    low, high = sorted((here, there_now))
    between = live.filter(position__gt=low, position__lt=high).exists()
    if row.position == there_now and live.filter(position=here).exists() and not between:
        return []
    return [Difference(entry, "place", _("the order of the steps of %(part)s") % {"part": row.part})]


def move_back(entry: Entry, row: Step, who: str, now: datetime) -> None:
    earlier = before(entry)["place"] < after(entry)["place"]
    routes.move_step(step=row, earlier=earlier, who=who, now=now)


def _awaited(state: Mapping[str, Any]) -> Step:
    said = state["waits for"]
    uid = said["uid"] if isinstance(said, Mapping) else None
    found = Step.objects.select_related("part", "operation", "service").filter(uid=uid).first() if uid else None
    if found is None:
        raise ValidationError(_("“%(name)s” is not there any more.") % {"name": said})
    return found


def waiting(entry: Entry, row: Step) -> list[Difference]:
    if not Wait.objects.filter(step=row, on=_awaited(after(entry))).exists():
        raise ValidationError(_("“%(name)s” does not wait for it any more: there is nothing to undo.") % {"name": row})
    return []


def not_waiting(entry: Entry, row: Step) -> list[Difference]:
    if Wait.objects.filter(step=row, on=_awaited(before(entry))).exists():
        raise ValidationError(_("“%(name)s” waits for it again: there is nothing to undo.") % {"name": row})
    return []


def stop_waiting(entry: Entry, row: Step, who: str, now: datetime) -> None:
    wait = Wait.objects.select_related("step__part__restoration", "on__part").get(step=row, on=_awaited(after(entry)))
    routes.stop_waiting(wait=wait, who=who, now=now)


def wait_again(entry: Entry, row: Step, who: str, now: datetime) -> None:
    routes.wait_for(step=row, on=_awaited(before(entry)), again=True, who=who, now=now)
