"""The processes of a kill run: writers that acknowledge, workers that deliver."""

import contextlib
import os
import random
import time
import uuid
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from shop.journal import services as journal
from shop.outbox import handlers, services
from shop.outbox.handlers import Delivery, Handler
from shop.outbox.models import Row
from shop.outbox.services import Outcome

# Short, so that what a killed worker held comes back within the run.
LEASE = timedelta(seconds=1.5)
BACKLOG = 20
SUBJECT = uuid.UUID(int=0)


def prepare(*, control: bool) -> None:
    """In each worker, before it starts."""
    services.LEASE = LEASE
    services.FIRST_DELAY = timedelta(seconds=0.2)
    handlers.register("effect", effect, handlers.HERE, prepare=pause)
    if control:
        services._do_here = effect_first_and_mark_later


def sink() -> Path:
    return Path(settings.HOME) / "sink"


def write(pipe: int) -> None:
    """Commit business rows with what they owe; say each key only when the commit has returned.

    It keeps just ahead of the workers, so that a kill finds them busy and the end does not take for ever.
    """
    handlers.register("effect", effect, handlers.HERE, prepare=pause)
    random.seed()
    while True:
        key, now = uuid.uuid4().hex, timezone.now()
        with transaction.atomic():
            execute("INSERT INTO fault_business (key) VALUES (%s)", key)
            journal.record(who="writer", at=now, what="event", subject=journal.Subject("fault", SUBJECT, key))
            services.publish(key=key, handler="effect", payload={"key": key}, due_at=now, now=now)
        os.write(pipe, f"{key}\n".encode())  # unbuffered, and whole: it is shorter than PIPE_BUF
        time.sleep(random.uniform(0, 0.006))
        while Row.objects.filter(state="pending").count() > BACKLOG:
            time.sleep(0.02)


def effect(delivery: Delivery) -> None:
    """One plain row, which a repeat would double, and one file, which refuses to be made twice."""
    execute("INSERT INTO fault_effect (key, run) VALUES (%s, %s)", delivery.key, str(os.getpid()))
    pause(delivery)
    with contextlib.suppress(FileExistsError):  # a run before this one was killed between file and commit
        os.close(os.open(sink() / delivery.key, os.O_WRONLY | os.O_CREAT | os.O_EXCL))
    pause(delivery)


def pause(_delivery: Delivery) -> None:
    """Room for a kill: while it is leased, between row and file, between file and commit."""
    time.sleep(random.uniform(0, 0.006))


def execute(statement: str, *values: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def effect_first_and_mark_later(handler: Handler, delivery: Delivery, row: Row) -> Outcome:
    """The control: wrong on purpose. A kill between the two transactions repeats the effect."""
    with transaction.atomic():
        handler.function(delivery)
    time.sleep(0.05)
    services._end_run(row, ["leased"], state="done", done_at=delivery.now, last_error="")
    return Outcome.DONE
