from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

from django.db.models import QuerySet

from shop.outbox.models import DEAD, DONE, HEARTBEAT, UNKNOWN, Heartbeat, Row

# A sweep comes by every few seconds, unless one long row is being run.
SILENCE = timedelta(seconds=60)


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


def awake(beat: Heartbeat | None, *, now: datetime) -> bool:
    return beat is not None and now - beat.at < SILENCE


def asked_for(handler: str, keys: Sequence[str]) -> set[str]:
    """Those of ``keys`` that have a row already, in one query for each thousand; none for no keys."""
    found: set[str] = set()
    for start in range(0, len(keys), 1000):
        some = Row.objects.filter(handler=handler, key__in=keys[start : start + 1000])
        found.update(some.values_list("key", flat=True))
    return found
