"""Celery's side: envelopes. A message is a hint that a row is due; losing or repeating one changes nothing."""

import logging
import os
import socket
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from celery import current_app, shared_task
from celery.signals import worker_init
from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError

from shop.outbox import services
from shop.outbox.signals import background_starts

SWEEP_EVERY = 0.5  # seconds
# A hint that waited longer than this is not needed any more: a sweep hints anew, also when the broker lost it.
HINT_LASTS = 5.0

log = logging.getLogger("bareframe.outbox")


def worker_name() -> str:
    return f"{socket.gethostname()}:{os.getpid()}"[-100:]


@shared_task
def deliver(row_id: int) -> None:
    services.deliver(row_id, now=timezone.now(), worker=worker_name())


@shared_task
def sweep() -> list[int]:
    """Returns the rows that are due. With a broker it also hints at them; without one, the caller delivers them."""
    now = timezone.now()
    due = services.sweep(now=now, worker=worker_name())
    if due and not settings.EMBEDDED:
        sent = _hint(services.without_hint(due, now=now))
        services.mark_hinted(sent, until=now + timedelta(seconds=HINT_LASTS))
    return due


def _hint(row_ids: Sequence[int]) -> list[int]:
    """Returns the rows whose hints the broker took."""
    sent: list[int] = []
    for row_id in row_ids:
        try:
            deliver.apply_async(args=(row_id,), expires=HINT_LASTS, retry=False)
        except OperationalError as error:
            log.warning("The broker took no hints (%s); the next sweep hints again.", error)
            break
        sent.append(row_id)
    return sent


@worker_init.connect
def _worker_starts(**_: Any) -> None:
    background_starts.send(sender=None)


@current_app.on_after_finalize.connect
def _schedule(sender: Any, **_: Any) -> None:
    sender.add_periodic_task(SWEEP_EVERY, sweep.s(), name="outbox sweep", expires=HINT_LASTS)
