import hashlib
import json
import uuid
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shop.journal import chain, selectors, services, verify
from shop.journal.models import Entry, Link, Unsealed
from shop.journal.services import Subject
from tests.faults.processes import race

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
FORK = Subject(type="restorations.part", uid=uuid.UUID(int=7), label="Fork leg, left")


def record(**changes: Any) -> Entry | None:
    given: dict[str, Any] = {"who": "ada", "at": NOW, "what": "part changed", "subject": FORK}
    return services.record(**given | changes)


@pytest.mark.django_db
def test_only_changed_fields_are_kept() -> None:
    record(before={"name": "Fork", "pieces": 1}, after={"name": "Fork leg", "pieces": 1})
    entry = Entry.objects.get()
    assert (entry.before, entry.after) == ('{"name":"Fork"}', '{"name":"Fork leg"}')


@pytest.mark.django_db
def test_an_edit_that_changes_nothing_leaves_no_entry() -> None:
    assert record(before={"pieces": 1}, after={"pieces": 1}) is None
    assert not Entry.objects.exists()


@pytest.mark.django_db
def test_an_event_without_fields_is_an_entry() -> None:
    assert record(what="quote shown to the customer") is not None


@pytest.mark.django_db
def test_values_are_canonical_text_on_every_engine() -> None:
    berlin = timezone(timedelta(hours=1))
    record(
        after={
            "zinc": Decimal("1.50"),
            "area": [Decimal("12"), None, True],
            "day": date(2026, 3, 2),
            "at": datetime(2026, 3, 2, 10, 30, tzinfo=berlin),
            "place": {"uid": uuid.UUID(int=1)},
            "note": "gläsern",
        }
    )
    assert Entry.objects.get().after == (
        '{"area":["12",null,true],"at":"2026-03-02T09:30:00.000000+00:00","day":"2026-03-02","note":"gläsern",'
        '"place":{"uid":"00000000-0000-0000-0000-000000000001"},"zinc":"1.5"}'
    )


@pytest.mark.django_db
def test_a_float_is_no_value_for_the_journal() -> None:
    with pytest.raises(TypeError, match="float"):
        record(after={"price": 12.5})


@pytest.mark.django_db
@pytest.mark.parametrize("changes", [{"who": ""}, {"what": ""}, {"subject": Subject("", FORK.uid, "Fork")}])
def test_an_entry_says_who_what_and_of_what(changes: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        record(**changes)


@pytest.mark.django_db(transaction=True)
def test_an_entry_needs_the_transaction_of_its_change() -> None:
    with pytest.raises(services.NoTransactionError):
        record()
    assert not Entry.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_an_entry_goes_with_the_change_it_tells_of() -> None:
    with pytest.raises(LookupError), transaction.atomic():
        fail_after_recording()
    assert (Entry.objects.count(), Unsealed.objects.count()) == (0, 0)


def fail_after_recording() -> None:
    record()
    raise LookupError


@pytest.mark.django_db
def test_an_entry_can_be_neither_changed_nor_deleted() -> None:
    record()
    for tamper in (lambda: Entry.objects.update(what="x"), lambda: Entry.objects.all()._raw_delete("default")):
        with pytest.raises(IntegrityError, match="A journal entry is kept as written"), transaction.atomic():
            tamper()


@pytest.mark.django_db(transaction=True)
def test_a_link_can_be_neither_changed_nor_deleted() -> None:
    sealed(1)
    for tamper in (lambda: Link.objects.update(hash="0" * 64), lambda: Link.objects.all()._raw_delete("default")):
        with pytest.raises(IntegrityError, match="A link of the journal's chain is kept"), transaction.atomic():
            tamper()


@pytest.mark.django_db
def test_the_subject_of_a_row_is_its_kind_its_uid_and_what_it_is_called_now() -> None:
    entry = record()
    assert entry is not None
    assert services.subject_of(entry) == Subject("journal.entry", entry.uid, "ada: part changed, Fork leg, left")


@pytest.mark.django_db
def test_history_is_of_one_subject_oldest_first() -> None:
    other = Subject(type=FORK.type, uid=uuid.UUID(int=8), label="Fork leg, right")
    record(what="part added")
    record(subject=other)
    record(what="part changed")
    assert [entry.what for entry in selectors.history(FORK)] == ["part added", "part changed"]


# -- sealing -------------------------------------------------------------------------------------------------------


def sealed(count: int) -> None:
    with transaction.atomic():
        for number in range(count):
            record(after={"number": number})
    services.seal(now=NOW)


@pytest.mark.django_db(transaction=True)
def test_sealing_links_each_waiting_entry_to_the_one_before() -> None:
    assert selectors.head() == (0, chain.START)
    sealed(2)
    first, second = Link.objects.all()
    assert (first.position, second.position) == (1, 2)
    assert selectors.head() == (2, second.hash)
    assert services.seal(now=NOW) == 0
    assert not Unsealed.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_many_entries_are_sealed_in_several_transactions(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "SEALED_AT_ONCE", 3)
    with transaction.atomic():
        for number in range(8):
            record(after={"number": number})
    assert services.seal(now=NOW) == 8
    assert [link.entry.after for link in Link.objects.all()] == [f'{{"number":{number}}}' for number in range(8)]
    assert verify.first_fault() is None


@pytest.mark.django_db(transaction=True)
def test_a_hash_is_sha256_over_the_one_before_the_place_the_moment_and_the_entry() -> None:
    # Recomputed here from the sentence above with hashlib and json alone, not with the code under test.
    sealed(2)
    previous = "0" * 64
    for position, entry in enumerate(Entry.objects.order_by("id"), start=1):
        told = {
            "uid": str(entry.uid),
            "at": "2026-03-02T09:30:00.000000+00:00",
            "who": "ada",
            "what": "part changed",
            "subject": ["restorations.part", "00000000-0000-0000-0000-000000000007", "Fork leg, left"],
            "before": "{}",
            "after": json.dumps({"number": position - 1}, separators=(",", ":")),
            "reference": "",
        }
        text = json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        head = f"{previous}\n{position}\n2026-03-02T09:30:00.000000+00:00\n"
        previous = hashlib.sha256((head + text).encode()).hexdigest()
        assert Link.objects.get(position=position).hash == previous


@pytest.mark.django_db(transaction=True)
def test_an_entry_that_commits_late_joins_the_next_seal() -> None:
    sealed(3)
    waiting = Entry.objects.earliest("id")
    with transaction.atomic():  # as if it had been written first and committed last
        late = Entry(pk=waiting.pk - 1 or -1, at=NOW, who="bo", what="part added", subject_type="x", subject_label="y")
        late.subject_uid = uuid.UUID(int=9)
        late.before = late.after = "{}"
        late.save(force_insert=True)
        Unsealed.objects.create(entry=late)
    assert services.seal(now=NOW) == 1
    assert Link.objects.get(entry=late).position == 4
    assert verify.first_fault() is None


@pytest.mark.django_db(transaction=True)
def test_sealing_is_never_part_of_another_transaction() -> None:
    with transaction.atomic():
        record()
        with pytest.raises(RuntimeError, match="durable"):
            services.seal(now=NOW)


def write_and_seal(_number: int) -> int:
    total = 0
    for _round in range(25):
        with transaction.atomic():
            record()
        total += services.seal(now=NOW)
    return total


@pytest.mark.django_db(transaction=True)
def test_four_sealers_at_once_make_one_chain() -> None:
    totals = race(write_and_seal, 4)
    assert sum(totals) == 100
    assert [link.position for link in Link.objects.all()] == list(range(1, 101))
    assert verify.first_fault() is None


@pytest.mark.django_db(transaction=True)
def test_when_seal_returns_what_was_committed_before_is_sealed() -> None:
    assert all(race(record_then_look, 4))


def record_then_look(_number: int) -> bool:
    for _round in range(10):
        with transaction.atomic():
            entry = record()
        services.seal(now=NOW)
        if not Link.objects.filter(entry=entry).exists():
            return False
    return True
