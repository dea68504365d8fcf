from datetime import datetime
from typing import NamedTuple

from django.db.models import QuerySet

from shop.journal import chain
from shop.journal.models import Entry, Link
from shop.journal.services import ALSO, Subject

#: Entries of one change lie close together: others may write between them, but not for long.
CLOSE = 20_000


class Head(NamedTuple):
    """The end of the chain. Whoever has it in writing can prove later that nothing before it was cut off."""

    position: int
    hash: str

    def __str__(self) -> str:
        return f"{self.position}:{self.hash}"


def head() -> Head:
    last = Link.objects.last()
    return Head(last.position, last.hash) if last else Head(0, chain.START)


def history(subject: Subject) -> QuerySet[Entry]:
    """Everything told of one subject, the oldest first; what it was called then is in each entry."""
    return Entry.objects.filter(subject_type=subject.type, subject_uid=subject.uid)


def of_one_change(entry: Entry) -> list[Entry]:
    """``entry``, the first of its change, with all that was told together with it, the oldest first."""
    if not entry.reference or entry.reference.endswith(ALSO):
        return [entry]
    close = Entry.objects.filter(pk__gt=entry.pk, pk__lte=entry.pk + CLOSE)
    return [entry, *close.filter(reference=entry.reference + ALSO).order_by("pk")]


def latest(subject: Subject, *, who: str, at: datetime) -> Entry | None:
    """What ``who`` has just done to a subject, as the entry that begins its change."""
    return history(subject).filter(who=who, at=at).exclude(reference__endswith=ALSO).last()
