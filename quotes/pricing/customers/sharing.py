"""What the desk chose to show a customer: notes, with or without a photograph. Nothing else of the workshop is shown."""

from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from quotes.pricing.customers import once, telling
from quotes.pricing.models import Shared
from shop.journal.services import record, subject_of
from shop.papers.models import Photograph
from shop.restorations.models import FinishEvidence, IntakePhotograph, PartDamage, Restoration


@transaction.atomic
def share(
    *,
    restoration: Restoration,
    note: str = "",
    photograph: Photograph | None = None,
    uid: UUID | None = None,
    tell_at: str = "",
    who: str,
    now: datetime,
) -> Shared:
    """Show a note, a photograph or both to the customer; the same form (``uid``) sent again is shared once.

    ``tell_at``, scheme and host, tells them by e-mail, with a link that begins so. Raises ``ValidationError`` where there is
    nothing to show, the photograph is of another bike, or they cannot be told.
    """
    if known := once.kept_before(Shared, uid, restoration):
        return known
    note = note.strip()
    if not note and photograph is None:
        raise ValidationError({"note": _("Write a note, or choose a photograph.")})
    if photograph is not None and _is_of_another_bike(photograph, restoration):
        raise ValidationError({"photograph": _("This photograph is of another bike. Choose one of this bike.")})
    once.refuse_longer(Shared, "note", note)
    row = Shared(restoration_id=restoration.pk, note=note, photograph=photograph, at=now, who=who)
    row.full_clean(exclude={"restoration", "photograph", "taken_back_at"}, validate_unique=False)
    row, is_new = once.keep(row, uid, restoration)
    if is_new:
        record(who=who, at=now, what="shared with the customer", subject=subject_of(restoration), after=_told(row))
        if tell_at:
            telling.of_news(row, base=tell_at, who=who, now=now)
    return row


@transaction.atomic
def take_back(*, shared: Shared, who: str, now: datetime) -> None:
    """Show it no longer. Taken back twice is taken back once."""
    if not Shared.objects.filter(pk=shared.pk, taken_back_at__isnull=True).update(taken_back_at=now):
        return
    told = _told(shared)
    record(who=who, at=now, what="taken back from the customer", subject=subject_of(shared.restoration), before=told)


def _told(row: Shared) -> dict[str, object]:
    return {"shared": row.uid, "note": row.note, "photograph": row.photograph.uid if row.photograph else None}


def of(restoration: Restoration) -> QuerySet[Shared]:
    """Everything that was shared about a restoration, taken back or not, the newest first."""
    return Shared.objects.filter(restoration=restoration).select_related("photograph").order_by("-at", "-pk")


def shown(restoration: Restoration) -> QuerySet[Shared]:
    """What the customer sees of it now."""
    nothing_left = Q(note="", photograph__taken_away_at__isnull=False)
    return of(restoration).filter(taken_back_at__isnull=True).exclude(nothing_left)


def photographs_of(restoration: Restoration) -> QuerySet[Photograph]:
    """The photographs on record for a bike: of its intake, its finish evidence, damage found, and what was shared before."""
    return ever_photographed(restoration).filter(taken_away_at__isnull=True)


def ever_photographed(restoration: Restoration) -> QuerySet[Photograph]:
    """Those that were taken away as well."""
    mine = Q(pk__in=IntakePhotograph.ever.filter(intake__restoration=restoration).values("photograph"))
    evidence = FinishEvidence.objects.filter(part__restoration=restoration, removed_at__isnull=True)
    mine |= Q(pk__in=evidence.filter(photographs__isnull=False).values("photographs"))
    damage = PartDamage.objects.filter(part__restoration=restoration, photographs__isnull=False)
    mine |= Q(pk__in=damage.values("photographs"))
    mine |= Q(pk__in=Shared.objects.filter(restoration=restoration, photograph__isnull=False).values("photograph"))
    return Photograph.ever.filter(mine).order_by("-added_at", "-pk")


def _is_of_another_bike(photograph: Photograph, restoration: Restoration) -> bool:
    """One that was just added is of no bike yet, and so of this one."""
    if photographs_of(restoration).filter(pk=photograph.pk).exists():
        return False
    evidence = FinishEvidence.objects.filter(photographs=photograph)
    damage = PartDamage.objects.filter(photographs=photograph)
    intake = IntakePhotograph.ever.filter(photograph=photograph)
    return (
        evidence.exists() or damage.exists() or intake.exists() or Shared.objects.filter(photograph=photograph).exists()
    )
