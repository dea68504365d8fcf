"""The processes of a kill run: writers that acknowledge, workers that deliver."""

import contextlib
import os
import random
import time
import uuid
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from shop.journal import services as journal
from shop.outbox import handlers, mail, menders, services
from shop.outbox.handlers import Delivery, Handler
from shop.outbox.models import Row
from shop.outbox.services import Outcome
from shop.papers.services import store

# Short, so that what a killed worker held comes back within the run.
LEASE = timedelta(seconds=1.5)
BACKLOG = 20
#: Longer than a worker that is told so waits before it hears of the same row again [s].
SLOW = 15.0
SUBJECT = uuid.UUID(int=0)
settled = services._settled


def prepare(*, control: bool, claim: bool = True, lease: timedelta = LEASE, mend: str = "") -> None:
    """In each worker, before it starts. What is switched off is a control."""
    services.LEASE = lease
    services.FIRST_DELAY = timedelta(seconds=0.2)
    services.HEARTBEAT_EVERY = timedelta(seconds=0.2)
    register()
    if not claim:
        services._lease = without_asking_whose_it_is
        services._update = lambda row, _states, **changes: Row.objects.filter(pk=row.pk).update(**changes)
    if mend:
        menders.register(find_events_by_key if mend == "by event" else find_events_by_moment)
    if control:
        services._do_here = effect_first_and_mark_later
        services._settled = send_again


def register() -> None:
    handlers.register("effect", effect, handlers.HERE, prepare=pause)
    handlers.register("paper", paper, handlers.HERE)
    handlers.register("mail", mail_out, handlers.OUTSIDE)
    handlers.register("slow", effect, handlers.HERE, prepare=take_long)
    handlers.register("event", nothing, handlers.HERE)


def sink() -> Path:
    return Path(settings.HOME) / "sink"


def book() -> Path:
    """Where the mail server of a run writes down what it took."""
    return Path(settings.HOME) / "taken"


def write(pipe: int, handler: str = "effect") -> None:
    """Commit business rows with what they owe; say each key only when the commit has returned.

    It keeps just ahead of the workers, so that a kill finds them busy and the end does not take for ever.
    """
    register()
    random.seed()
    while True:
        key = uuid.uuid4().hex
        commit(key, handler)
        os.write(pipe, f"{key}\n".encode())  # unbuffered, and whole: it is shorter than PIPE_BUF
        time.sleep(random.uniform(0, 0.006))
        while Row.objects.filter(state="pending").count() > BACKLOG:
            time.sleep(0.02)


def commit(key: str, handler: str) -> None:
    """The change and what it owes, in one transaction."""
    now = timezone.now()
    with transaction.atomic():
        _change(key, now)
        services.publish(key=key, handler=handler, payload={"key": key}, due_at=now, now=now)


def _change(key: str, now: datetime) -> None:
    execute("INSERT INTO fault_business (key) VALUES (%s)", key)
    journal.record(who="writer", at=now, what="event", subject=journal.Subject("fault", SUBJECT, key))


def effect(delivery: Delivery) -> None:
    """One plain row, which a repeat would double, and one file, which refuses to be made twice."""
    execute("INSERT INTO fault_effect (key, run) VALUES (%s, %s)", delivery.key, str(os.getpid()))
    pause(delivery)
    with contextlib.suppress(FileExistsError):  # a run before this one was killed between file and commit
        os.close(os.open(sink() / delivery.key, os.O_WRONLY | os.O_CREAT | os.O_EXCL))
    pause(delivery)


def paper(delivery: Delivery) -> None:
    """A file that is kept for good, as the PDF of a quote is, and a row that names it."""
    execute("INSERT INTO fault_effect (key, run) VALUES (%s, %s)", delivery.key, str(os.getpid()))
    store(name=f"{delivery.key}.pdf", media_type="application/pdf", content=leaf(delivery.key), now=delivery.now)


def leaf(key: str) -> bytes:
    return b"%PDF-1.7\n" + key.encode() * 4000


def mail_out(delivery: Delivery) -> None:
    letter = mail.Letter(to="margaret@ashgrove.example", subject="Ready on Friday", text=f"{delivery.key}\n")
    mail.send(
        to=letter.to,
        write=lambda: mail.compose(letter, key=delivery.key, now=delivery.now),
        going_out=delivery.going_out,
    )


def pause(_delivery: Delivery) -> None:
    """Room for a kill: while it is leased, between row and file, between file and commit."""
    time.sleep(random.uniform(0, float(os.environ.get("FAULT_SLOW", "0.006"))))


def take_long(_delivery: Delivery) -> None:
    time.sleep(SLOW)


def nothing(_delivery: Delivery) -> None:
    return


def calls() -> Path:
    """Where workers write down each row they are told of."""
    return Path(settings.HOME) / "calls"


def note_call(row_id: int) -> None:
    book = os.open(calls(), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.write(book, f"{row_id}\n".encode())
    os.close(book)


def event() -> str:
    """Something that becomes true and that nobody has told the outbox of."""
    key = uuid.uuid4().hex
    execute("INSERT INTO fault_business (key) VALUES (%s)", key)
    return key


def find_events_by_key(*, now: datetime) -> None:
    _publish_events(now, "")


def find_events_by_moment(*, now: datetime) -> None:
    """The control: wrong on purpose. Found twice, an event is two rows."""
    _publish_events(now, f"/{now.timestamp()}")


def _publish_events(now: datetime, moment: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT key FROM fault_business")
        keys = [row[0] for row in cursor.fetchall()]
    with transaction.atomic():
        for key in keys:
            services.publish(key=f"{key}{moment}", handler="event", payload={}, due_at=now, now=now)


def without_asking_whose_it_is(row_id: int, *, now: datetime, worker: str) -> Row | None:
    """The control: wrong on purpose. Whoever is told of a row runs it."""
    Row.objects.filter(pk=row_id).exclude(state="done").update(
        state="leased", lease_until=now + services.LEASE, leased_by=worker
    )
    return Row.objects.get(pk=row_id)


def execute(statement: str, *values: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def effect_first_and_mark_later(handler: Handler, delivery: Delivery, row: Row) -> Outcome:
    """The control: wrong on purpose. A kill between the two transactions repeats the effect."""
    with transaction.atomic():
        handler.function(delivery)
    time.sleep(float(os.environ.get("FAULT_SLOW", "0.05")))
    services._end_run(row, ["leased"], state="done", done_at=delivery.now, last_error="")
    return Outcome.DONE


def send_again(row: Row) -> bool:
    """The control: wrong on purpose. What was interrupted while it went out goes out again."""
    if row.state != "sending":
        return settled(row)
    services._end_run(row, [row.state], state="pending")
    return True


def commit_and_ask_later(key: str, handler: str) -> None:
    """The control: wrong on purpose. A kill between the two transactions leaves a change whose effect nobody owes."""
    now = timezone.now()
    with transaction.atomic():
        _change(key, now)
    with transaction.atomic():
        services.publish(key=key, handler=handler, payload={"key": key}, due_at=now, now=now)


def write_in_place(path: Path, content: bytes) -> None:
    """The control: wrong on purpose. A kill in the middle leaves half a file under its final name."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), "wb") as file:
        file.write(content)
