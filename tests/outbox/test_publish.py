import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shop.outbox import handlers, services
from shop.outbox.models import Row
from tests.faults.processes import race
from tests.outbox.conftest import NOW, fail, note, publish


@pytest.mark.django_db
def test_the_same_event_found_twice_is_one_row() -> None:
    first = publish(payload={"quote": 7})
    again = publish(payload={"quote": 8})
    assert again == first
    assert Row.objects.get().payload == '{"quote":7}'


@pytest.mark.django_db
def test_another_event_or_another_handler_is_another_row() -> None:
    publish("k1")
    publish("k2")
    publish("k1", handler="break")
    assert Row.objects.count() == 3


@pytest.mark.django_db(transaction=True)
def test_a_row_needs_the_transaction_of_its_event() -> None:
    with pytest.raises(services.NoTransactionError):
        services.publish(key="k1", handler="note", payload={}, due_at=NOW, now=NOW)
    assert not Row.objects.exists()


@pytest.mark.django_db
def test_a_handler_that_nobody_registered_is_refused_at_once() -> None:
    with pytest.raises(handlers.UnknownHandlerError, match="No room has registered a handler called 'fax'"):
        publish(handler="fax")


@pytest.mark.django_db
@pytest.mark.parametrize("key", ["", "k" * 201])
def test_a_key_that_cannot_be_kept_is_refused(key: str) -> None:
    with pytest.raises(ValidationError):
        publish(key)


def test_a_name_stands_for_one_handler() -> None:
    handlers.register("note", note, handlers.HERE)
    with pytest.raises(ValueError, match="registered already"):
        handlers.register("note", fail, handlers.HERE)


# -- a rollback sends nothing (D-14) ---------------------------------------------------------------------------------


class ChangedOurMindError(Exception):
    pass


def publish_and_fail() -> None:
    with transaction.atomic():
        publish()
    raise ChangedOurMindError


@pytest.mark.django_db(transaction=True)
def test_an_error_after_publishing_leaves_no_row() -> None:
    with pytest.raises(ChangedOurMindError), transaction.atomic():
        publish_and_fail()
    assert not Row.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_savepoint_rolled_back_takes_its_row_along() -> None:
    with transaction.atomic():
        publish("kept")
        with pytest.raises(ChangedOurMindError), transaction.atomic():
            publish_and_fail()
    assert Row.objects.get().key == "kept"


@pytest.mark.django_db(transaction=True)
def test_a_rollback_without_an_error_leaves_no_row() -> None:
    with transaction.atomic():
        publish()
        transaction.set_rollback(True)
    assert not Row.objects.exists()


# -- what the database itself refuses --------------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"state": "lost"}, "outbox_row_state_is_known"),
        ({"state": "leased"}, "outbox_row_is_leased_while_it_runs"),
        ({"state": "leased", "lease_until": NOW}, "outbox_row_is_leased_while_it_runs"),
        ({"lease_until": NOW}, "outbox_row_is_leased_while_it_runs"),
        ({"state": "done"}, "outbox_row_says_when_it_was_done"),
        ({"done_at": NOW}, "outbox_row_says_when_it_was_done"),
    ],
)
def test_states_that_contradict_themselves_are_refused(changes: dict[str, object], constraint: str) -> None:
    row = publish()
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Row.objects.filter(pk=row.pk).update(**changes)


@pytest.mark.django_db
@pytest.mark.parametrize("changes", [{"payload": "{}"}, {"key": "k2"}, {"handler": "break"}])
def test_what_a_row_asks_for_cannot_be_changed(changes: dict[str, object]) -> None:
    row = publish()
    with pytest.raises(IntegrityError, match="What a background job is to do is kept as written"), transaction.atomic():
        Row.objects.filter(pk=row.pk).update(**changes)


@pytest.mark.django_db
def test_a_row_that_is_owed_cannot_be_deleted() -> None:
    row = publish()
    with pytest.raises(IntegrityError, match="not done cannot be deleted"), transaction.atomic():
        row.delete()


@pytest.mark.django_db
def test_a_done_row_stays_done() -> None:
    row = publish()
    Row.objects.filter(pk=row.pk).update(state="done", done_at=NOW)
    with pytest.raises(IntegrityError, match="stays done"), transaction.atomic():
        Row.objects.filter(pk=row.pk).update(state="pending", done_at=None)
    assert row.delete()[0] == 1


def publish_twenty(_number: int) -> list[int]:
    return [publish(f"k{number}").pk for number in range(20)]


@pytest.mark.django_db(transaction=True)
def test_four_publishers_of_the_same_events_make_one_row_each() -> None:
    first, *others = race(publish_twenty, 4)
    assert all(other == first for other in others)
    assert Row.objects.count() == 20
