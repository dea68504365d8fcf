"""Writes on sources that somebody looked into and found nothing in."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from shop.journal.services import record, subject_of
from shop.methods.models import EvidenceSource
from shop.restorations.models import Looked, Part


@transaction.atomic
def note_found_nothing(*, parts: Iterable[Part], source: EvidenceSource, who: str, now: datetime) -> int:
    """Note that ``source`` says nothing of ``parts``; the number for which that was new. Figures stay as they are."""
    known = set(Looked.objects.filter(source=source).values_list("part", flat=True))
    new = [part for part in parts if part.pk not in known]
    Looked.objects.bulk_create(
        [Looked(part=part, source=source, at=now, who=who) for part in new], ignore_conflicts=True
    )
    for part in new:
        record(who=who, at=now, what="looked, found nothing", subject=subject_of(part), after={"source": source.name})
    return len(new)


@transaction.atomic
def look_again(*, looked: Looked, who: str, now: datetime) -> None:
    """The source may say something after all. Taken back already, nothing changes."""
    gone, _rows = Looked.objects.filter(pk=looked.pk).delete()
    if gone:
        told = {"source": looked.source.name}
        record(who=who, at=now, what="to be looked into again", subject=subject_of(looked.part), before=told)
