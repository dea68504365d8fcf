import contextlib
import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from enum import Enum
from typing import Protocol

from django.db import connection, transaction
from django.db.models import F, Q
from django.utils.translation import gettext

from quotes.engine import canonical
from shop.journal import services as journal
from shop.outbox import handlers, menders
from shop.outbox.handlers import Delivery, Handler
from shop.outbox.models import DEAD, DONE, HEARTBEAT, LEASED, PENDING, RUNNING, SENDING, UNKNOWN, Heartbeat, Row

# Longer than any hard time limit (CELERY_TASK_TIME_LIMIT): a lease that ran out means that its process is gone.
LEASE = timedelta(seconds=120)
MOST_ATTEMPTS = 5
FIRST_DELAY = timedelta(seconds=10)
DELAY_GROWTH = 4
AT_ONCE, EXPIRED_AT_ONCE = 50, 10
HEARTBEAT_EVERY = timedelta(seconds=5)

log = logging.getLogger("bareframe.outbox")


class Outcome(Enum):
    DONE = "done"
    AGAIN = "again"
    DEAD = "dead"
    UNKNOWN = "unknown"
    NOT_OURS = "not ours"


class ByHand(Protocol):
    def __call__(self, *, row_id: int, who: str, now: datetime) -> None: ...


class NoTransactionError(RuntimeError):
    def __init__(self) -> None:
        super().__init__("A background job is asked for inside the transaction of the change that needs it.")


class LeaseLostError(Exception):
    """Another worker has the row by now; what this one did inside its transaction is undone."""


class NotStuckError(Exception):
    def __init__(self) -> None:
        super().__init__(gettext("This background job is not stuck any more. Look at the list again."))


def publish(*, key: str, handler: str, payload: Mapping[str, object], due_at: datetime, now: datetime) -> Row:
    """Ask for an effect, inside the caller's transaction. The same ``key`` and ``handler`` again is the same row.

    The publisher makes ``key`` from the event itself, so that an event found twice is one row.
    """
    if not connection.in_atomic_block:
        raise NoTransactionError
    handlers.get(handler)
    row = Row(key=key, handler=handler, payload=canonical.dump(dict(payload)).decode(), due_at=due_at, created_at=now)
    row.full_clean(validate_unique=False, validate_constraints=False)
    Row.objects.bulk_create([row], ignore_conflicts=True)
    return Row.objects.get(key=key, handler=handler)


# -- the sweep -----------------------------------------------------------------------------------------------------


def sweep(*, now: datetime, worker: str) -> list[int]:
    """Seal the journal, mend what is stale, settle what was interrupted; returns the rows to deliver."""
    trouble = menders.safely(_seal, now=now)
    if _beat(now=now, worker=worker):
        _tell_trouble([*filter(None, [trouble]), *menders.run(now=now)])
    return due_rows(now=now)


def _seal(*, now: datetime) -> None:
    journal.seal(now=now)


def _beat(*, now: datetime, worker: str) -> bool:
    """Whether this sweep is the one that mends; every few seconds one of them is."""
    return take_turn(HEARTBEAT, every=HEARTBEAT_EVERY, now=now, by=worker)


def take_turn(name: str, *, every: timedelta, now: datetime, by: str) -> bool:
    """Whether the caller is the one of many whose turn it is now. A clock set back does not stop it."""
    last, first = Heartbeat.objects.get_or_create(name=name, defaults={"at": now, "by": by})
    if first:
        return True
    if abs(now - last.at) < every:
        return False
    return bool(Heartbeat.objects.filter(name=name, at=last.at).update(at=now, by=by))


def _tell_trouble(found: Sequence[str]) -> None:
    told = "\n".join(found)
    Heartbeat.objects.filter(name=HEARTBEAT).exclude(trouble=told).update(trouble=told)


def due_rows(*, now: datetime) -> list[int]:
    """Rows to deliver now, the longest due first. What was interrupted and may not be repeated is settled.

    Rows whose worker died come last: if one of them killed it, it does not keep the others waiting.
    """
    waiting = Row.objects.filter(state=PENDING, due_at__lte=now).order_by("due_at")
    expired = Row.objects.filter(state__in=RUNNING, lease_until__lte=now).order_by("lease_until")
    again = [row.pk for row in expired[:EXPIRED_AT_ONCE] if not _settled(row)]
    return [*waiting.values_list("pk", flat=True)[:AT_ONCE], *again]


def _settled(row: Row) -> bool:
    """A row whose worker died while it may have been going out, or died once too often."""
    if row.state == SENDING:
        state, told = UNKNOWN, gettext("Interrupted while it was going out.")
    elif row.attempts >= MOST_ATTEMPTS:
        state, told = DEAD, gettext("The process that ran it ended %(count)d times.") % {"count": row.attempts}
    else:
        return False
    with contextlib.suppress(LeaseLostError):  # another sweep was quicker
        _end_run(row, [row.state], state=state, last_error=told)
    return True


def without_hint(row_ids: Sequence[int], *, now: datetime) -> list[int]:
    """Those of the rows that no worker was lately hinted at: hints repeated each sweep would crowd out the work."""
    hinted = set(Row.objects.filter(pk__in=row_ids, hinted_until__gt=now).values_list("pk", flat=True))
    return [row_id for row_id in row_ids if row_id not in hinted]


def mark_hinted(row_ids: Sequence[int], *, until: datetime) -> None:
    Row.objects.filter(pk__in=row_ids).update(hinted_until=until)


# -- one delivery --------------------------------------------------------------------------------------------------


def deliver(row_id: int, *, now: datetime, worker: str) -> Outcome:
    """Do what one row asks for, unless another worker does, it is not due, or it is settled already."""
    row = _lease(row_id, now=now, worker=worker)
    if row is None:
        return Outcome.NOT_OURS
    try:
        handler = handlers.get(row.handler)
        delivery = _prepared(handler, row, now)
        run = _do_here if handler.kind == handlers.HERE else _send_outside
        return run(handler, delivery, row)
    except LeaseLostError:
        return Outcome.NOT_OURS
    except Exception as error:
        log.exception("Background job %s failed.", row)
        return _failed(row, error, now)


@transaction.atomic(durable=True)
def _lease(row_id: int, *, now: datetime, worker: str) -> Row | None:
    leasable = Q(state=PENDING, due_at__lte=now) | Q(state=LEASED, lease_until__lte=now, attempts__lt=MOST_ATTEMPTS)
    leased = Row.objects.filter(leasable, pk=row_id).update(
        state=LEASED, lease_until=now + LEASE, leased_by=worker, attempts=F("attempts") + 1
    )
    return Row.objects.get(pk=row_id) if leased else None


def _prepared(handler: Handler, row: Row, now: datetime) -> Delivery:
    delivery = Delivery(key=row.key, payload=json.loads(row.payload), now=now, attempt=row.attempts)
    if handler.prepare is None:
        return delivery
    return replace(delivery, prepared=handler.prepare(delivery))


def _do_here(handler: Handler, delivery: Delivery, row: Row) -> Outcome:
    with transaction.atomic(durable=True):
        handler.function(delivery)
        _end_run(row, [LEASED], state=DONE, done_at=delivery.now, last_error="")
    return Outcome.DONE


def _send_outside(handler: Handler, delivery: Delivery, row: Row) -> Outcome:
    """From the mark "going out" on, only a handler that is certain gets a second chance; all else is for a person."""
    out = False

    def going_out() -> None:
        nonlocal out
        _update(row, [LEASED], state=SENDING)
        out = True

    try:
        handler.function(replace(delivery, going_out=going_out))
    except handlers.NotSentError:
        raise
    except Exception as error:
        if not out:
            raise
        log.exception("Background job %s may or may not have gone out.", row)
        _end_run(row, [SENDING], state=UNKNOWN, last_error=_told(error))
        return Outcome.UNKNOWN
    # Also when the lease ran out meanwhile and the sweep called it unknown: now it is known.
    _end_run(row, [SENDING, UNKNOWN] if out else [LEASED], state=DONE, done_at=delivery.now, last_error="")
    return Outcome.DONE


def _failed(row: Row, error: Exception, now: datetime) -> Outcome:
    again = row.attempts < MOST_ATTEMPTS
    try:
        _end_run(
            row,
            RUNNING,
            state=PENDING if again else DEAD,
            due_at=now + FIRST_DELAY * DELAY_GROWTH ** (row.attempts - 1),
            last_error=_told(error),
        )
    except LeaseLostError:
        return Outcome.NOT_OURS
    return Outcome.AGAIN if again else Outcome.DEAD


def _end_run(row: Row, states: Sequence[str], **changes: object) -> None:
    _update(row, states, lease_until=None, **changes)


@transaction.atomic
def _update(row: Row, states: Sequence[str], **changes: object) -> None:
    """Change a row only while this very run still holds it."""
    ours = Row.objects.filter(pk=row.pk, state__in=states, leased_by=row.leased_by, attempts=row.attempts)
    if not ours.update(**changes):
        raise LeaseLostError


def _told(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"[:2000]


# -- a person's hand -----------------------------------------------------------------------------------------------


@transaction.atomic
def retry(*, row_id: int, who: str, now: datetime) -> None:
    """Have a row that was given up, or may not have gone out, tried again from the start."""
    _by_hand(row_id, who, now, "background job tried again", state=PENDING, due_at=now, attempts=0, last_error="")


@transaction.atomic
def settle(*, row_id: int, who: str, now: datetime) -> None:
    """Say of a row that may have gone out that it did, or of one that was given up that it is not needed."""
    _by_hand(row_id, who, now, "background job called done", state=DONE, done_at=now)


def _by_hand(row_id: int, who: str, now: datetime, what: str, **changes: object) -> None:
    row = Row.objects.filter(pk=row_id, state__in=[DEAD, UNKNOWN]).first()
    if row is None or not Row.objects.filter(pk=row_id, state=row.state).update(**changes):
        raise NotStuckError
    journal.record(
        who=who,
        at=now,
        what=what,
        subject=journal.subject_of(row),
        before={"state": row.state},
        after={"state": changes["state"]},
    )
