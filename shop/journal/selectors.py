from typing import NamedTuple

from django.db.models import QuerySet

from shop.journal import chain
from shop.journal.models import Entry, Link
from shop.journal.services import Subject


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
