"""The database itself refuses that somebody is on two tasks at once, alike on both engines."""

from datetime import datetime
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from shop.floor.models import Clocking, Correction
from shop.people.models import User
from shop.routes.models import Task
from tests.floor.conftest import NOON, at, task

pytestmark = pytest.mark.django_db

HALF = NOON.replace(microsecond=500_000)


def clocking(who: User, began: datetime, ended: datetime | None, **more: Any) -> Clocking:
    how = {"ended_how": "tap" if ended else ""}
    fields = {"task": Task.objects.first() or task(), "recorded_by": "joe"} | how | more
    return Clocking.objects.create(person=who, began_at=began, ended_at=ended, **fields)


def refused(who: User, began: datetime, ended: datetime | None) -> bool:
    try:
        with transaction.atomic():
            clocking(who, began, ended)
    except IntegrityError:
        return True
    return False


@pytest.mark.parametrize(
    ("began", "ended", "clashes"),
    [
        (at(8), at(9), False),
        (at(8), at(9, 0, 1), True),
        (at(10), at(10, 30), True),
        (at(8), at(13), True),
        (at(11), at(12), False),
        (at(10, 59, 59), at(12), True),
        (at(10), at(10), False),  # it has no moment to share
        (at(8), None, True),
        (at(11), None, False),
    ],
)
def test_what_touches_is_let_in_and_what_overlaps_is_not(
    joe: User, began: datetime, ended: datetime | None, clashes: bool
) -> None:
    clocking(joe, at(9), at(11))
    assert refused(joe, began, ended) is clashes


def test_an_open_row_never_ends(joe: User) -> None:
    clocking(joe, at(9), None)
    assert refused(joe, at(20), at(21))
    assert not refused(joe, at(7), at(9))


def test_fractions_of_a_second_count(joe: User) -> None:
    """SQLite compares text, and Django leaves a fraction of nothing out."""
    clocking(joe, HALF, at(13))
    assert not refused(joe, at(11), HALF)
    assert refused(joe, HALF.replace(microsecond=999_999), at(12, 0, 1))
    assert not refused(joe, at(13), at(13).replace(microsecond=1))


def test_others_and_superseded_rows_are_in_nobodys_way(joe: User, ann: User) -> None:
    row = clocking(joe, at(9), at(11))
    assert not refused(ann, at(9), at(11))
    said = Correction.objects.create(person=joe, reason="Was on the tank", who="ann", at=NOON)
    Clocking.objects.filter(pk=row.pk).update(superseded_at=NOON, superseded_by=said)
    assert not refused(joe, at(9), at(11))


def test_a_row_cannot_be_changed_into_an_overlap(joe: User) -> None:
    first = clocking(joe, at(9), None)
    Clocking.objects.filter(pk=first.pk).update(ended_at=at(10), ended_how="tap")
    clocking(joe, at(10), at(11))
    said = Correction.objects.create(person=joe, reason="Wrong", who="ann", at=NOON)
    other = clocking(joe, at(10), at(11), superseded_at=NOON, superseded_by=said)
    with pytest.raises(IntegrityError), transaction.atomic():
        Clocking.objects.filter(pk=other.pk).update(superseded_at=None, superseded_by=None)


def test_the_end_cannot_move_into_another_row(joe: User) -> None:
    clocking(joe, at(10), at(11))
    with pytest.raises(IntegrityError), transaction.atomic():
        clocking(joe, at(9), None)
    clocking(joe, at(9), at(10))


def test_what_was_clocked_stays(joe: User) -> None:
    row = clocking(joe, at(9), at(10))
    for change in ({"began_at": at(8)}, {"ended_at": at(11)}, {"ended_at": None, "ended_how": ""}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Clocking.objects.filter(pk=row.pk).update(**change)
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM floor_clocking")
