import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import transaction

from shop.journal import services as journal
from shop.journal.models import Entry
from shop.outbox import handlers, menders, services
from shop.outbox.handlers import Delivery
from shop.outbox.models import Row

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def registry(monkeypatch: pytest.MonkeyPatch) -> None:
    """Handlers and menders of this test alone: the rooms' own would find work of their own."""
    monkeypatch.setattr(handlers, "_handlers", {})
    monkeypatch.setattr(menders, "_menders", [])
    handlers.register("note", note, handlers.HERE)
    handlers.register("break", fail, handlers.HERE)


def note(delivery: Delivery) -> None:
    """An effect that is counted: a journal entry."""
    subject = journal.Subject(type="effect", uid=uuid.UUID(int=0), label=delivery.key)
    journal.record(who="system", at=delivery.now, what="delivered", subject=subject)


def fail(delivery: Delivery) -> None:
    note(delivery)
    raise ValueError("the press is cold")


def effects(key: str = "k1") -> int:
    return Entry.objects.filter(subject_type="effect", subject_label=key).count()


def publish(key: str = "k1", handler: str = "note", **changes: Any) -> Row:
    given: dict[str, Any] = {"payload": {"quote": 7}, "due_at": NOW, "now": NOW}
    with transaction.atomic():
        return services.publish(key=key, handler=handler, **given | changes)


def deliver(row: Row, *, now: datetime = NOW, worker: str = "w1") -> services.Outcome:
    return services.deliver(row.pk, now=now, worker=worker)


def outside(name: str, function: Callable[[Delivery], None], **more: Any) -> None:
    handlers.register(name, function, handlers.OUTSIDE, **more)
