"""Damage that a mechanic finds: kept with a guess of the hours, and before the desk until it says what became of it."""

from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from shop.floor.models import DamageReport, Rework
from shop.journal.services import record, subject_of
from shop.methods.models import PossibleDamage
from shop.papers.models import Photograph
from shop.people.models import User
from shop.restorations.models import Part
from shop.restorations.services import hold_part, refuse_out_of_scope
from shop.routes.models import Step

LONGEST = DamageReport._meta.get_field("settled_as").max_length


@transaction.atomic
def report_damage(
    *,
    uid: UUID,
    part: Part,
    step: Step | None = None,
    possible: PossibleDamage | None,
    words: str,
    hours: Decimal,
    photograph: Photograph | None = None,
    person: User,
    now: datetime,
) -> DamageReport:
    """Tell the desk of damage on a part. ``uid`` is that of the form: sent twice, it is kept once.

    Raises `ValidationError` at ``possible``, ``words`` or ``hours``.
    """
    hold_part(part)
    before = DamageReport.objects.filter(uid=uid).first()
    if before is not None:
        return before
    refuse_out_of_scope(part)
    if possible is None and not words.strip():
        raise ValidationError({"words": _("Choose a damage, or say what you see.")}, code="what")
    if possible is not None and possible.kind_id != part.kind_id:
        raise ValidationError(
            {"possible": _("Parts of this kind do not have that damage. Choose another.")}, code="kind"
        )
    row = DamageReport(
        uid=uid,
        part=part,
        step=step if step is not None and step.part_id == part.pk else None,
        possible=possible,
        words=words.strip(),
        hours=hours,
        photograph=photograph,
        person=person,
        at=now,
    )
    row.full_clean()
    row.save(force_insert=True)
    after: dict[str, object] = {"name": said(row), "hours": row.hours}
    record(who=person.username, at=now, what="damage reported", subject=subject_of(part), after=after)
    return row


def said(row: DamageReport) -> str:
    """What it is, in a few words."""
    return str(row.possible) if row.possible else row.words


@transaction.atomic
def settle_report(*, report: DamageReport, settled_as: str, who: str, now: datetime) -> DamageReport:
    """Say what became of a report. Settled already, it stays as it was: then somebody else was quicker, and is named."""
    hold_part(report.part)
    report.refresh_from_db()
    if report.settled_at is not None:
        told = {"who": report.settled_by, "what": report.settled_as}
        raise ValidationError(_("%(who)s settled it already: %(what)s.") % told, code="settled")
    if not settled_as.strip():
        raise ValidationError({"reason": _("Say why it is no damage: the mechanic reads it.")}, code="required")
    report.settled_at, report.settled_by, report.settled_as = now, who, settled_as.strip()[:LONGEST]
    report.save(update_fields=["settled_at", "settled_by", "settled_as"])
    told = {"name": said(report), "what became of it": report.settled_as}
    record(who=who, at=now, what="damage report settled", subject=subject_of(report.part), after=told)
    return report


def open_reports() -> QuerySet[DamageReport]:
    """Those that wait for the desk, the oldest first, with all that a list says of them."""
    rows = DamageReport.objects.filter(settled_at__isnull=True)
    return rows.select_related(
        "part__restoration__customer", "part__restoration__machine", "person", "possible", "photograph", "step"
    )


def unpriced_replacements() -> QuerySet[Rework]:
    """Rework that scrapped pieces of which nobody has said yet what the replacement costs, the oldest first."""
    rows = Rework.objects.filter(scrapped__gt=0, replacement_minor__isnull=True)
    return rows.select_related(
        "step__part__restoration__customer",
        "step__part__restoration__machine",
        "step__operation",
        "step__service",
        "cause",
        "person",
    )
