"""Writes on intake: how a machine came in, what its photographs show, what was signed for."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from quotes.engine import canonical
from shop import currency
from shop.journal.services import record, subject_of
from shop.journal.telling import told
from shop.papers.models import Photograph
from shop.restorations.models import FinishEvidence, Intake, IntakePhotograph, IntakeSignature, Machine, Restoration
from shop.restorations.services import EVIDENCE_SPEAKS_OF, change_scope, hold_scope, set_fields

#: Fields of the intake itself, and those of the machine that are read off it when it comes in.
INTAKE_FIELDS = (
    "came_on",
    "brought_by",
    "papers",
    "papers_frame_number",
    "papers_engine_number",
    "keys",
    "reading",
    "missing",
    "condition",
    "agreed_value_minor",
)
STAMPED_FIELDS = ("frame_number", "engine_number")

Shows = IntakePhotograph.Shows
#: What has to be photographed before a number can be argued about.
NEEDED = (Shows.FRAME_NUMBER, Shows.ENGINE_NUMBER)


@transaction.atomic
def open_intake(*, restoration: Restoration, came_on: date, who: str, now: datetime) -> Intake:
    """The intake of ``restoration``, opened with the day it came in when there is none."""
    hold_scope(restoration.pk)
    intake, made = Intake.objects.get_or_create(restoration=restoration, defaults={"came_on": came_on})
    if made:
        record(who=who, at=now, what="taken in", subject=subject_of(restoration), after={"came on": came_on})
    return intake


@transaction.atomic
def change_intake(
    *, intake: Intake, who: str, now: datetime, changes: Mapping[str, Any], seen: Mapping[str, Any] | None = None
) -> Intake:
    """Change fields of the intake and the numbers stamped on its machine; ``seen`` as in `change_part`.

    All of it is kept or nothing. A stamped number that finish evidence may speak of is a change of scope.
    """
    _hold(intake)
    given = {name: value.strip() if isinstance(value, str) else value for name, value in changes.items()}
    _refuse_days_to_come(given, timezone.localdate(now))
    of_machine = {name: value for name, value in given.items() if name in STAMPED_FIELDS}
    own = {name: value for name, value in given.items() if name not in of_machine}
    known = seen or {}
    machine = intake.restoration.machine
    before = set_fields(
        intake,
        changes=own,
        seen={name: value for name, value in known.items() if name not in STAMPED_FIELDS},
        allowed=INTAKE_FIELDS,
    )
    stamped = set_fields(
        machine,
        changes=of_machine,
        seen={name: value for name, value in known.items() if name in STAMPED_FIELDS},
        allowed=STAMPED_FIELDS,
    )
    _save_stamped(intake.restoration, machine, stamped, who=who, now=now)
    if before:
        intake.version += 1
        intake.save(update_fields=[*before, "version"])
        after = {name: own[name] for name in before}
        subject = subject_of(intake.restoration)
        record(who=who, at=now, what="intake changed", subject=subject, before=told(before), after=told(after))
    return intake


def _hold(intake: Intake) -> None:
    hold_scope(intake.restoration_id)
    intake.refresh_from_db(from_queryset=Intake.objects.select_related("restoration__machine", "restoration__customer"))


def _refuse_days_to_come(changes: Mapping[str, Any], today: date) -> None:
    day = changes.get("came_on")
    if isinstance(day, date) and day > today:
        raise ValidationError({"came_on": _("This day is still to come. Give the day it came in.")})


def _save_stamped(
    restoration: Restoration, machine: Machine, before: Mapping[str, Any], *, who: str, now: datetime
) -> None:
    if not before:
        return
    machine.save(update_fields=list(before))
    after = {name: getattr(machine, name) for name in before}
    subject = subject_of(machine)
    record(who=who, at=now, what="machine corrected", subject=subject, before=told(before), after=told(after))
    speaks = before.keys() & EVIDENCE_SPEAKS_OF
    if speaks and FinishEvidence.objects.filter(part__restoration=restoration).exists():
        change_scope(restoration)


# -- photographs -------------------------------------------------------------------------------------------------------


@transaction.atomic
def add_photograph(*, intake: Intake, photograph: Photograph, shows: str, who: str, now: datetime) -> IntakePhotograph:
    """Put a photograph to the intake, with what it shows. There already, nothing changes."""
    _hold(intake)
    found = intake.photographs.filter(photograph=photograph).first()
    if found is not None:
        return found
    row = IntakePhotograph(intake=intake, photograph=photograph, shows=shows)
    row.full_clean(exclude={"intake", "photograph"})
    row.save()
    after = {"photograph": photograph.caption, "shows": row.get_shows_display(), "sha256": photograph.sha256}
    subject = subject_of(intake.restoration)
    record(who=who, at=now, what="photographed at intake", subject=subject, after=after)
    return row


@transaction.atomic
def say_what_it_shows(*, row: IntakePhotograph, shows: str, who: str, now: datetime) -> IntakePhotograph:
    """Correct what a photograph shows."""
    hold_scope(row.intake_id)  # an intake has the key of its restoration
    row.refresh_from_db()
    before = row.get_shows_display()
    row.shows = shows
    row.full_clean(exclude={"intake", "photograph"}, validate_unique=False)
    row.save(update_fields=["shows"])
    subject = subject_of(row.intake.restoration)
    old, new = {row.photograph.caption: before}, {row.photograph.caption: row.get_shows_display()}
    record(who=who, at=now, what="intake photograph corrected", subject=subject, before=old, after=new)
    return row


def photographs_missing(intake: Intake) -> list[Shows]:
    """The numbers of which nobody has taken a photograph yet."""
    there = {row.shows for row in intake.photographs.all()}
    return [shows for shows in NEEDED if shows not in there]


# -- the signature -----------------------------------------------------------------------------------------------------

LABELS = {
    "customer": gettext_lazy("customer"),
    "machine": gettext_lazy("machine"),
    "stamped_frame_number": gettext_lazy("frame number as stamped"),
    "stamped_engine_number": gettext_lazy("engine number as stamped"),
    "papers_frame_number": gettext_lazy("frame number in the papers"),
    "papers_engine_number": gettext_lazy("engine number in the papers"),
    "came_on": gettext_lazy("came in on"),
    "brought_by": gettext_lazy("brought by"),
    "papers": gettext_lazy("papers"),
    "keys": gettext_lazy("keys"),
    "reading": gettext_lazy("distance on the clock"),
    "missing": gettext_lazy("missing parts"),
    "condition": gettext_lazy("condition"),
    "agreed_value_minor": gettext_lazy("agreed value"),
    "currency": gettext_lazy("currency"),
    "photographs": gettext_lazy("photographs"),
}


def facts(intake: Intake) -> dict[str, Any]:
    """What is signed for, as plain values. The intake comes with its restoration, machine and customer."""
    restoration = intake.restoration
    machine = restoration.machine
    pictures = [[row.shows, row.photograph.sha256] for row in intake.photographs.select_related("photograph")]
    return {
        "customer": restoration.customer.name,
        "machine": str(machine),
        "stamped_frame_number": machine.frame_number,
        "stamped_engine_number": machine.engine_number,
        "papers_frame_number": intake.papers_frame_number,
        "papers_engine_number": intake.papers_engine_number,
        "came_on": intake.came_on.isoformat(),
        "brought_by": intake.brought_by,
        "papers": intake.papers,
        "keys": intake.keys,
        "reading": intake.reading,
        "missing": missing_parts(intake),
        "condition": intake.condition,
        "agreed_value_minor": intake.agreed_value_minor,
        "currency": currency.code() if intake.agreed_value_minor is not None else "",
        "photographs": sorted(pictures),
    }


def missing_parts(intake: Intake) -> list[str]:
    """The parts that are missing, one of each line."""
    return [line.strip() for line in intake.missing.splitlines() if line.strip()]


def words(intake: Intake) -> str:
    """What is signed for as canonical text: the same text for the same facts, for ever."""
    return canonical.dump(facts(intake)).decode()


def mark(text: str) -> str:
    """The hash by which a paper and what is stored are known to be the same words."""
    return canonical.sha256(text.encode())


@transaction.atomic
def sign(*, intake: Intake, who_signed: str, signed_on: date, seen: str, who: str, now: datetime) -> IntakeSignature:
    """Keep that ``who_signed`` signed for the intake as it is written now. ``seen`` is the `mark` of the words they read.

    Other words by now are refused, and so is a day to come. Whoever signed before stays on record.
    """
    _hold(intake)
    text = words(intake)
    row = IntakeSignature(
        intake=intake,
        who=who_signed.strip(),
        signed_on=signed_on,
        words=text,
        words_sha256=mark(text),
        at=now,
        recorded_by=who,
    )
    row.full_clean(exclude={"intake"})
    if signed_on > timezone.localdate(now):
        raise ValidationError({"signed_on": _("This day is still to come. Give the day it was signed.")})
    if seen != row.words_sha256:
        said = _("Something was changed after you looked. Look at the sheet again, then have it signed.")
        raise ValidationError(said, code="changed")
    row.save()
    after = {"who signed": row.who, "signed on": row.signed_on, "sha256": row.words_sha256}
    record(who=who, at=now, what="intake signed", subject=subject_of(intake.restoration), after=after)
    return row


@dataclass(frozen=True, slots=True)
class Changed:
    """What was signed, and what it is now."""

    field: str
    label: str
    signed: Any
    now: Any


def last_signature(intake: Intake) -> IntakeSignature | None:
    return intake.signatures.order_by("-at", "-pk").first()


def changed_since(intake: Intake, signature: IntakeSignature) -> list[Changed]:
    """What differs by now from what was signed."""
    signed, now = json.loads(signature.words), json.loads(words(intake))
    names = [name for name in LABELS if signed.get(name) != now.get(name)]
    return [Changed(name, str(LABELS[name]), signed.get(name), now.get(name)) for name in names]


def photographs_in_words(pictures: list[Any]) -> str:
    """So many photographs: which they are is known by their hashes."""
    return ngettext("%(count)s photograph", "%(count)s photographs", len(pictures)) % {"count": len(pictures)}
