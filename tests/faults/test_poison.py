"""A row that kills its worker each time (RELIABILITY D-12; Celery's documentation warns of message loops)."""

import multiprocessing
import os
import signal
import time
from datetime import timedelta
from typing import Any

import pytest
from django.db import connections, transaction
from django.utils import timezone

from shop.outbox import handlers, menders, services
from shop.outbox.handlers import Delivery
from shop.outbox.loop import Loop
from shop.outbox.models import Row
from shop.outbox.signals import background_starts

_fork = multiprocessing.get_context("fork")
LONGEST_DELAY = timedelta(seconds=5)


def kill_the_worker(_delivery: Delivery) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def work() -> None:
    connections.close_all()
    Loop().run()
    os._exit(0)


def publish(handler: str) -> Row:
    now = timezone.now()
    with transaction.atomic():
        return services.publish(key=f"{handler} {now.timestamp()}", handler=handler, payload={}, due_at=now, now=now)


def start() -> Any:
    connections.close_all()
    worker = _fork.Process(target=work)
    worker.start()
    return worker


@pytest.mark.django_db(transaction=True)
def test_a_poison_row_is_given_up_and_delays_the_others_little(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(handlers, "_handlers", {})
    monkeypatch.setattr(menders, "_menders", [])
    monkeypatch.setattr(services, "LEASE", timedelta(seconds=0.5))
    handlers.register("poison", kill_the_worker, handlers.HERE)
    handlers.register("plain", lambda delivery: None, handlers.HERE)
    background_starts.send(sender=None)  # what a worker loads first; forked ones have it
    poison, worker, deaths = publish("poison"), start(), 0
    end = time.monotonic() + 60
    try:
        while Row.objects.get(pk=poison.pk).state != "dead" and time.monotonic() < end:
            publish("plain")
            if not worker.is_alive():  # what the supervisor does
                deaths, worker = deaths + 1, start()
            time.sleep(0.1)
        last = publish("plain")
        while Row.objects.get(pk=last.pk).state != "done" and time.monotonic() < end:
            time.sleep(0.1)
    finally:
        alive = worker.is_alive()
        worker.kill()
        worker.join()
    poison.refresh_from_db()
    assert (poison.state, poison.attempts, deaths) == ("dead", 5, 5)
    assert poison.last_error == "The process that ran it ended 5 times."
    assert alive
    others = Row.objects.filter(handler="plain")
    assert [row.state for row in others] == ["done"] * len(others)
    assert max(row.done_at - row.due_at for row in others if row.done_at) <= LONGEST_DELAY
