from typing import NamedTuple

from django.db.models import QuerySet

from shop.outbox.models import DEAD, DONE, UNKNOWN, Heartbeat, Row
from shop.outbox.services import HEARTBEAT


class Stuck(NamedTuple):
    dead: int
    unknown: int


def waiting() -> QuerySet[Row]:
    """Not done and not stuck: due later, due now, or running."""
    return Row.objects.exclude(state__in=[DONE, DEAD, UNKNOWN])


def dead() -> QuerySet[Row]:
    return Row.objects.filter(state=DEAD)


def unknown() -> QuerySet[Row]:
    return Row.objects.filter(state=UNKNOWN)


def stuck() -> Stuck:
    return Stuck(dead().count(), unknown().count())


def last_sweep() -> Heartbeat | None:
    return Heartbeat.objects.filter(name=HEARTBEAT).first()
