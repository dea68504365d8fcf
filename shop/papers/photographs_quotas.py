"""How much may be added: by one person and by the whole shop, on one day and in all (``settings.PHOTOGRAPH_LIMITS``)."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db.models import F, QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from shop.papers.models import PhotographCount

SENTENCES = {
    "person_day": _("You have added as many photographs today as one person may. Go on tomorrow, or ask the manager."),
    "person": _("You have added as many photographs as one person may. Ask the manager to allow more."),
    "shop_day": _("The shop has added as many photographs today as it may. Go on tomorrow, or ask the manager."),
    "shop": _("The shop's room for photographs is full. Ask the manager to allow more."),
}


class QuotaFull(Exception):
    """``sentence`` says whose, and what to do."""

    def __init__(self, limit: str) -> None:
        super().__init__(limit)
        self.sentence: Promise = SENTENCES[limit]


@dataclass(frozen=True)
class Limit:
    name: str
    who: str
    day: date | None
    photographs: int
    bytes: int

    def counts(self) -> QuerySet[PhotographCount]:
        return PhotographCount.objects.filter(who=self.who, day=self.day)


def limits(*, who: str, today: date) -> Iterator[Limit]:
    """Always in this order, the shop's first: two uploads that lock the same counts in turn cannot lock each other out."""
    for name, whose, day in (
        ("shop", "", None),
        ("shop_day", "", today),
        ("person", who, None),
        ("person_day", who, today),
    ):
        yield Limit(name, whose, day, *settings.PHOTOGRAPH_LIMITS[name])


def refuse_if_full(*, who: str, today: date) -> None:
    """Before the work of decoding; it reads only, so ``take`` still decides."""
    for limit in limits(who=who, today=today):
        count = limit.counts().first() or PhotographCount(photographs=0, bytes=0)
        if count.photographs >= limit.photographs or count.bytes >= limit.bytes:
            raise QuotaFull(limit.name)


def take(*, who: str, today: date, size: int) -> None:
    """Count one photograph of ``size`` [bytes], or raise ``QuotaFull``; belongs in the transaction that adds it."""
    for limit in limits(who=who, today=today):
        if not _counted(limit, size):
            PhotographCount.objects.bulk_create(
                [PhotographCount(who=limit.who, day=limit.day, photographs=0, bytes=0)], ignore_conflicts=True
            )
            if not _counted(limit, size):
                raise QuotaFull(limit.name)


def _counted(limit: Limit, size: int) -> bool:
    """One conditional UPDATE: the second of two at once waits for the first and then sees what it left."""
    room = limit.counts().filter(photographs__lt=limit.photographs, bytes__lte=limit.bytes - size)
    return bool(room.update(photographs=F("photographs") + 1, bytes=F("bytes") + size))
