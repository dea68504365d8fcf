"""The cast and the tasks of the floor's tests."""

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from shop.floor.models import Tap
from shop.floor.taps import Answer, take
from shop.people.models import User
from shop.routes.models import Task

#: A Tuesday on which the shop (Europe/London, winter time) is open.
NOON = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)


def at(hour: int, minute: int = 0, second: int = 0, *, day: int = 3) -> datetime:
    return datetime(2026, 3, day, hour, minute, second, tzinfo=UTC)


def person(name: str) -> User:
    return User.objects.create(username=name, first_name=name.capitalize())


def task(name: str = "Strip the wheels", **fields: Any) -> Task:
    return Task.objects.create(name=name, **{"kind": Task.Kind.INDIRECT, "made_at": NOON} | fields)


def tap(who: User, to: Task | None = None, *, now: datetime = NOON, kind: str = "", **more: Any) -> Answer:
    """A tap from nowhere in particular: on ``to``, or off where there is none."""
    kind = kind or (Tap.Kind.ON if to else Tap.Kind.OFF)
    given = {"uid": uuid.uuid4(), "tablet": None, "device_at": None, "body": f"{kind} {who.pk} {to and to.pk}"}
    return take(kind=kind, person=who, task=to, now=now, **given | more)


@pytest.fixture
def joe(db: None) -> User:
    return person("joe")


@pytest.fixture
def ann(db: None) -> User:
    return person("ann")


@pytest.fixture
def wheels(db: None) -> Task:
    return task()


@pytest.fixture
def tank(db: None) -> Task:
    return task("Rub down the tank")


MINUTE = timedelta(minutes=1)
