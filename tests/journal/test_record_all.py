"""Many changes of one kind told at once: the same entries as one by one, in a few statements."""

from datetime import UTC, datetime
from decimal import Decimal
from uuid import UUID

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from shop.journal.models import Entry, Unsealed
from shop.journal.services import Change, NoTransactionError, Subject, record, record_all, seal, told_together
from shop.journal.verify import first_fault

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SAME = Change(Subject("shop.thing", UUID(int=99), "Same"), before={"name": "Nut"}, after={"name": "Nut"})


def changes(count: int) -> list[Change]:
    return [
        Change(Subject("shop.thing", UUID(int=number), f"Nut {number}"), {"area": None}, {"area": Decimal(number)})
        for number in range(1, count + 1)
    ]


def told() -> list[tuple[object, ...]]:
    names = ("at", "who", "what", "subject_type", "subject_uid", "subject_label", "before", "after", "reference")
    return list(Entry.objects.order_by("pk").values_list(*names))


@pytest.mark.django_db
def test_told_at_once_is_told_as_one_by_one_and_in_order() -> None:
    for change in changes(5):
        record(who="ada", at=NOW, what="added", subject=change.subject, before=change.before, after=change.after)
    alone = told()
    made = record_all(who="ada", at=NOW, what="added", changes=changes(5))
    assert told()[5:] == alone
    assert [entry.subject_label for entry in made] == [f"Nut {number}" for number in range(1, 6)]
    assert Unsealed.objects.count() == 10


@pytest.mark.django_db
def test_what_did_not_change_is_left_out() -> None:
    assert len(record_all(who="ada", at=NOW, what="added", changes=[SAME, *changes(1), SAME])) == 1
    assert record_all(who="ada", at=NOW, what="added", changes=[SAME]) == []
    assert record_all(who="ada", at=NOW, what="added", changes=[]) == []
    assert Entry.objects.count() == Unsealed.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_it_is_part_of_the_change_it_tells_of() -> None:
    with pytest.raises(NoTransactionError):
        record_all(who="ada", at=NOW, what="added", changes=changes(1))
    assert Entry.objects.count() == 0


@pytest.mark.django_db
def test_one_entry_that_cannot_be_kept_leaves_none() -> None:
    broken = Change(Subject("shop.thing", UUID(int=1), ""), after={"a": 1})
    with pytest.raises(ValidationError), transaction.atomic():
        record_all(who="ada", at=NOW, what="added", changes=[*changes(2), broken])
    with pytest.raises(TypeError), transaction.atomic():
        record_all(who="ada", at=NOW, what="added", changes=[Change(changes(1)[0].subject, after={"a": 0.5})])
    assert Entry.objects.count() == 0


@pytest.mark.django_db(transaction=True)
def test_they_are_sealed_like_all_others() -> None:
    with transaction.atomic():
        record_all(who="ada", at=NOW, what="added", changes=changes(7))
    assert seal(now=NOW) == 7
    assert first_fault() is None


@pytest.mark.django_db
def test_within_a_change_told_together_the_first_leads() -> None:
    with told_together("change 1"):
        record_all(who="ada", at=NOW, what="added", changes=changes(3))
    assert [entry.reference for entry in Entry.objects.order_by("pk")] == ["change 1", "change 1 also", "change 1 also"]


@pytest.mark.django_db
def test_the_statements_hardly_grow_with_the_changes() -> None:
    """SQLite takes a limited number of values in one statement."""

    def asked(count: int) -> int:
        with CaptureQueriesContext(connection) as queries:
            record_all(who="ada", at=NOW, what="added", changes=changes(count))
        return len(queries)

    few, many = asked(5), asked(500)
    assert many == few if connection.vendor == "postgresql" else many < few + 20
