import time
import uuid
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
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

#: What stands behind the reference of every entry of a group but the first, so that a list can show the first alone.
ALSO = " also"

State = Mapping[str, object]


@dataclass
class _Group:
    reference: str
    begun: bool = False


_group: ContextVar[_Group | None] = ContextVar("journal_group", default=None)


class NoTransactionError(RuntimeError):
    def __init__(self) -> None:
        super().__init__("A journal entry is written inside the transaction of the change it tells of.")


@dataclass(frozen=True)
class Subject:
    type: str
    uid: uuid.UUID
    label: str


@dataclass(frozen=True)
class Change:
    """What changed about one thing, as `record` takes it."""

    subject: Subject
    before: State = field(default_factory=dict)
    after: State = field(default_factory=dict)


def subject_of(thing: models.Model) -> Subject:
    """A model row with a ``uid``, as the journal names it for ever, even when the row is gone."""
    uid: uuid.UUID = thing.uid  # type: ignore[attr-defined]
    return Subject(type=thing._meta.label_lower, uid=uid, label=str(thing)[:200])


@contextmanager
def told_together(reference: str) -> Iterator[None]:
    """Entries recorded meanwhile without a reference of their own are one change: the first has ``reference``, the others
    have it with `ALSO` behind. Within another such block, that one's reference stands.
    """
    if _group.get() is not None:
        yield
        return
    token = _group.set(_Group(reference))
    try:
        yield
    finally:
        _group.reset(token)


def _reference() -> str:
    group = _group.get()
    if group is None:
        return ""
    reference = group.reference + (ALSO if group.begun else "")
    group.begun = True
    return reference


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
    _insist_on_transaction()
    entry = _entry(Change(subject, before or {}, after or {}), who=who, at=at, what=what, reference=reference)
    if entry is not None:
        entry.save(force_insert=True)
        Unsealed.objects.create(entry=entry)
    return entry


def record_all(*, who: str, at: datetime, what: str, changes: Iterable[Change], reference: str = "") -> list[Entry]:
    """`record` for many changes of one kind, in their order and in a few statements; the entries written."""
    _insist_on_transaction()
    made = (_entry(change, who=who, at=at, what=what, reference=reference) for change in changes)
    entries = Entry.objects.bulk_create([entry for entry in made if entry is not None])
    Unsealed.objects.bulk_create([Unsealed(entry=entry) for entry in entries])
    return entries


def _insist_on_transaction() -> None:
    if not connection.in_atomic_block:
        raise NoTransactionError


def _entry(change: Change, *, who: str, at: datetime, what: str, reference: str) -> Entry | None:
    """Unsaved; None where nothing of what was given changed."""
    old, new = kept(change.before), kept(change.after)
    same = {field for field in old.keys() & new.keys() if old[field] == new[field]}
    left_before = {field: value for field, value in old.items() if field not in same}
    left_after = {field: value for field, value in new.items() if field not in same}
    if same and not left_before and not left_after:
        return None
    entry = Entry(
        at=at,
        who=who,
        what=what,
        subject_type=change.subject.type,
        subject_uid=change.subject.uid,
        subject_label=change.subject.label,
        before=canonical.dump(left_before).decode(),
        after=canonical.dump(left_after).decode(),
        reference=reference or _reference(),
    )
    entry.full_clean(validate_unique=False, validate_constraints=False)
    return entry


def kept(state: State) -> dict[str, Any]:
    """``state`` in the plain values an entry keeps: equal states are equal here, on any engine."""
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
