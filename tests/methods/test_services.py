from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shop import guards
from shop.journal.models import Entry
from shop.methods import selectors, services
from shop.methods.models import Operation, StandardTime
from tests.faults.processes import race
from tests.rates import things
from tests.rates.things import JANUARY, MARCH, MAY, NOW


def note(operation: Operation, valid_from: date = MARCH, **changes: Any) -> StandardTime:
    given: dict[str, Any] = {"setup": Decimal(10), "run": Decimal("2.5"), "who": "ada", "now": NOW}
    return services.note_standard_time(operation=operation, valid_from=valid_from, **given | changes)


@pytest.mark.django_db
def test_the_time_in_force_is_the_latest_not_after_the_day_in_its_highest_revision() -> None:
    blast = things.operation()
    note(blast, JANUARY)
    first, second = note(blast, MARCH), note(blast, MARCH)
    later = note(blast, MAY)
    assert (first.revision, second.revision, later.revision) == (1, 2, 1)
    assert selectors.standard_times(date(2026, 1, 4)) == {}
    assert selectors.standard_times(date(2026, 3, 1))[blast.pk].valid_from == JANUARY
    assert selectors.standard_times(MARCH) == selectors.standard_times(date(2026, 5, 3)) == {blast.pk: second}
    assert selectors.standard_times(MAY) == {blast.pk: later}


@pytest.mark.django_db
def test_a_revision_noted_for_an_earlier_day_does_not_hold_over_a_later_one() -> None:
    blast = things.operation()
    march = note(blast, MARCH)
    note(blast, JANUARY)
    note(blast, JANUARY)
    assert selectors.standard_times(MAY) == {blast.pk: march}


@pytest.mark.django_db
@pytest.mark.parametrize(("field", "value"), [("setup", "-1"), ("run", "-0.5"), ("allowance", "-5"), ("run", "1.2345")])
def test_a_wrong_time_is_refused_at_its_field_and_nothing_is_stored(field: str, value: str) -> None:
    with pytest.raises(ValidationError) as error:
        note(things.operation(), **{field: Decimal(value)})
    assert list(error.value.message_dict) == [field]
    assert not StandardTime.objects.exists()
    assert not Entry.objects.exists()


@pytest.mark.django_db
def test_the_journal_tells_who_noted_which_time_after_which() -> None:
    blast = things.operation()
    note(blast, JANUARY, run=Decimal(3))
    note(blast, MARCH, run=Decimal(2))
    entry = Entry.objects.latest("id")
    assert (entry.who, entry.what, entry.subject_uid) == ("ada", "standard time noted", blast.uid)
    assert entry.before == '{"run":"3","valid_from":"2026-01-05"}'
    assert entry.after == '{"run":"2","valid_from":"2026-03-02"}'


@pytest.mark.django_db
def test_a_standard_time_can_be_neither_changed_nor_deleted() -> None:
    note(things.operation())
    for tamper in (
        lambda: StandardTime.objects.update(run=1),
        lambda: StandardTime.objects.all()._raw_delete("default"),
    ):
        with pytest.raises(IntegrityError, match="A standard time is kept as noted"), transaction.atomic():
            tamper()


@pytest.mark.control
@pytest.mark.django_db(transaction=True)
def test_without_its_guard_a_standard_time_could_be_changed() -> None:
    note(things.operation())
    with guards.lifted():
        assert StandardTime.objects.update(run=1) == 1


@pytest.mark.django_db(transaction=True)
def test_four_who_note_a_time_for_the_same_day_at_once_get_four_revisions() -> None:
    blast = things.operation()

    def noted(_number: int) -> list[int]:
        return [note(Operation.objects.get(pk=blast.pk)).revision for _round in range(5)]

    assert sorted(revision for answer in race(noted, 4) for revision in answer) == list(range(1, 21))


@pytest.mark.django_db
@pytest.mark.parametrize("count", [5, 50])
def test_times_take_one_query_however_many_there_are(count: int, django_assert_num_queries: Any) -> None:
    for number in range(count):
        note(things.operation(f"Operation {number}", place=things.place(f"Place {number}")))
    with django_assert_num_queries(1):
        times = selectors.standard_times(MAY)
        assert len({(time.operation.place, time.operation.grade) for time in times.values()}) == count


@pytest.mark.django_db
def test_only_the_operations_named_are_read() -> None:
    blast, mask = things.operation("Blast"), things.operation("Mask")
    note(blast)
    note(mask)
    assert list(selectors.standard_times(MAY, only=[str(mask.uid)])) == [mask.pk]
