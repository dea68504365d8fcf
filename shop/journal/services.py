import time
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, connection, models, transaction

from quotes.engine import canonical
from shop.journal import chain
from shop.journal.models import Entry, Link, Unsealed

SYSTEM = "system"
SEALED_AT_ONCE = 500
SEALING_TRIES = 20
PAUSE = 0.002  # seconds, longer after each lost race

State = Mapping[str, object]


class NoTransactionError(RuntimeError):
    def __init__(self) -> None:
        super().__init__("A journal entry is written inside the transaction of the change it tells of.")


@dataclass(frozen=True)
class Subject:
    type: str
    uid: uuid.UUID
    label: str


def subject_of(thing: models.Model) -> Subject:
    """A model row with a ``uid``, as the journal names it for ever, even when the row is gone."""
    uid: uuid.UUID = thing.uid  # type: ignore[attr-defined]
    return Subject(type=thing._meta.label_lower, uid=uid, label=str(thing)[:200])


def record(
    *,
    who: str,
    at: datetime,
    what: str,
    subject: Subject,
    before: State | None = None,
    after: State | None = None,
    reference: str = "",
) -> Entry | None:
    """Add one entry to the running transaction; it never opens one of its own.

    Fields alike in ``before`` and ``after`` are left out. When that leaves nothing of what was given, nothing
    changed: no entry is written and None comes back. Values are text, whole numbers, ``Decimal``, dates, uids, None,
    and lists and mappings of these; a float raises ``TypeError``.
    """
    if not connection.in_atomic_block:
        raise NoTransactionError
    old, new = _plain(before or {}), _plain(after or {})
    same = {field for field in old.keys() & new.keys() if old[field] == new[field]}
    left_before = {field: value for field, value in old.items() if field not in same}
    left_after = {field: value for field, value in new.items() if field not in same}
    if same and not left_before and not left_after:
        return None
    entry = Entry(
        at=at,
        who=who,
        what=what,
        subject_type=subject.type,
        subject_uid=subject.uid,
        subject_label=subject.label,
        before=canonical.dump(left_before).decode(),
        after=canonical.dump(left_after).decode(),
        reference=reference,
    )
    entry.full_clean(validate_unique=False, validate_constraints=False)
    entry.save(force_insert=True)
    Unsealed.objects.create(entry=entry)
    return entry


def _plain(state: State) -> dict[str, Any]:
    return {field: canonical.plain(_dated(value)) for field, value in state.items()}


def _dated(value: object) -> object:
    if isinstance(value, datetime):
        return chain.moment(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, uuid.UUID):
        return str(value)
    if isinstance(value, Mapping):
        return {key: _dated(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_dated(item) for item in value]
    return value


def seal(*, now: datetime) -> int:
    """Link every committed entry that has no link yet; the number linked.

    When it returns, whatever was committed before the call is sealed, by this sealer or another. It must not be
    called inside a transaction: the other sealer's links would not be seen there.
    """
    sealed = 0
    for attempt in range(SEALING_TRIES):
        try:
            while Unsealed.objects.exists():
                sealed += _seal_some(now)
            return sealed
        except IntegrityError as error:  # another sealer took the position: look again
            failure = error
            time.sleep(PAUSE * attempt)
    raise failure


@transaction.atomic(durable=True)
def _seal_some(now: datetime) -> int:
    """A bounded number at once: on SQLite nobody else can write meanwhile."""
    waiting = [row.entry for row in Unsealed.objects.select_related("entry").order_by("entry_id")[:SEALED_AT_ONCE]]
    last = Link.objects.last()
    position, previous = (last.position, last.hash) if last else (0, chain.START)
    links = []
    for entry in waiting:
        position += 1
        previous = chain.link_hash(previous=previous, position=position, sealed_at=now, entry=entry)
        links.append(Link(position=position, entry=entry, sealed_at=now, hash=previous))
    Link.objects.bulk_create(links)
    Unsealed.objects.filter(entry__link__isnull=False).delete()
    return len(links)
