from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.db import connection, transaction

from shop.journal.models import Entry
from shop.outbox import handlers, services
from shop.outbox.handlers import Delivery, NotSentError
from shop.outbox.models import Row
from shop.outbox.services import LEASE, MOST_ATTEMPTS, Outcome
from tests.faults.processes import race
from tests.outbox.conftest import NOW, deliver, effects, fail, note, outside, publish

LATER = NOW + LEASE


def state(row: Row) -> str:
    return Row.objects.get(pk=row.pk).state


# -- effects of our own: exactly once --------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_due_row_has_its_effect_and_is_done() -> None:
    row = publish()
    assert deliver(row) is Outcome.DONE
    row.refresh_from_db()
    assert (row.state, row.done_at, row.attempts, row.lease_until, effects()) == ("done", NOW, 1, None, 1)


@pytest.mark.django_db
def test_a_second_hint_changes_nothing() -> None:
    row = publish()
    deliver(row)
    assert deliver(row, now=LATER, worker="w2") is Outcome.NOT_OURS
    assert effects() == 1


@pytest.mark.django_db
def test_a_row_is_not_delivered_before_it_is_due() -> None:
    row = publish(due_at=NOW + timedelta(seconds=1))
    assert deliver(row) is Outcome.NOT_OURS
    assert deliver(row, now=NOW + timedelta(seconds=1)) is Outcome.DONE


@pytest.mark.django_db
def test_a_handler_reads_what_was_published() -> None:
    seen: list[Delivery] = []
    handlers.register("look", seen.append, handlers.HERE, prepare=lambda delivery: delivery.payload["quote"] * 2)
    deliver(publish(handler="look"))
    assert seen == [Delivery(key="k1", payload={"quote": 7}, now=NOW, attempt=1, prepared=14)]


@pytest.mark.django_db
def test_a_failed_effect_is_undone_and_tried_again_after_growing_waits() -> None:
    row = publish(handler="break")
    waits, now = [], NOW
    for _attempt in range(MOST_ATTEMPTS - 1):
        assert deliver(row, now=now) is Outcome.AGAIN
        row.refresh_from_db()
        waits.append((row.due_at - now).total_seconds())
        assert deliver(row, now=row.due_at - timedelta(seconds=1)) is Outcome.NOT_OURS
        now = row.due_at
    assert waits == [10, 40, 160, 640]
    assert deliver(row, now=now) is Outcome.DEAD
    row.refresh_from_db()
    assert (row.state, row.attempts, row.last_error) == ("dead", 5, "ValueError: the press is cold")
    assert effects() == 0


@pytest.mark.django_db
def test_a_row_whose_handler_is_gone_ends_among_the_dead(monkeypatch: pytest.MonkeyPatch) -> None:
    row = publish()
    monkeypatch.setattr(handlers, "_handlers", {})
    assert deliver(row) is Outcome.AGAIN
    row.refresh_from_db()
    assert row.last_error == "UnknownHandlerError: No room has registered a handler called 'note'."


@pytest.mark.django_db
def test_a_running_row_is_left_alone_until_its_lease_is_over() -> None:
    row = lease(publish())
    assert deliver(row, now=LATER - timedelta(seconds=1), worker="w2") is Outcome.NOT_OURS
    assert deliver(row, now=LATER, worker="w2") is Outcome.DONE
    assert effects() == 1


@pytest.mark.django_db
@pytest.mark.parametrize("ending", [note, fail])
def test_a_worker_that_lost_its_lease_leaves_no_effect_and_no_trace(ending: Any) -> None:
    def slow(delivery: Delivery) -> None:
        """So slow that its lease ends, and another worker leases the row."""
        assert services._lease(row.pk, now=LATER, worker="w2")

    handlers.register("slow", ending, handlers.HERE, prepare=slow)
    row = publish(handler="slow")
    assert deliver(row) is Outcome.NOT_OURS
    row.refresh_from_db()
    assert (row.state, row.leased_by, row.attempts, row.last_error, effects()) == ("leased", "w2", 2, "", 0)


def test_a_lease_outlasts_the_hard_time_limit() -> None:
    assert LEASE.total_seconds() > settings.CELERY_TASK_TIME_LIMIT + services.HEARTBEAT_EVERY.total_seconds()


def lease(row: Row) -> Row:
    """As a worker that is killed right after leasing."""
    leased = services._lease(row.pk, now=NOW, worker="w1")
    assert leased is not None
    return leased


# -- effects outside: never repeated by machine ----------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_that_it_is_going_out_is_committed_before_it_goes() -> None:
    seen = []

    def send(delivery: Delivery) -> None:
        seen.append(state(row))
        delivery.going_out()
        seen.append(state(row))
        assert not connection.in_atomic_block

    outside("mail", send)
    row = publish(handler="mail")
    assert deliver(row) is Outcome.DONE
    assert seen == ["leased", "sending"]
    assert state(row) == "done"


@pytest.mark.django_db
def test_what_ended_before_it_was_going_out_is_tried_again_by_machine() -> None:
    """The session with the server may hang, and the process be ended for it: nothing has left yet."""
    outside("mail", note)
    row = lease(publish(handler="mail"))
    assert services.due_rows(now=LATER) == [row.pk]
    assert deliver(row, now=LATER, worker="w2") is Outcome.DONE
    assert effects() == 1


@pytest.mark.django_db
def test_what_fails_in_a_strange_way_before_it_is_going_out_is_tried_again() -> None:
    outside("mail", fail)
    row = publish(handler="mail")
    assert deliver(row) is Outcome.AGAIN
    assert state(row) == "pending"


@pytest.mark.django_db
def test_who_lost_the_row_meanwhile_does_not_send() -> None:
    def send(delivery: Delivery) -> None:
        assert services._lease(row.pk, now=LATER, worker="w2") is not None  # the server was slow, the lease ran out
        delivery.going_out()
        note(delivery)

    outside("mail", send)
    row = publish(handler="mail")
    assert deliver(row) is Outcome.NOT_OURS
    row.refresh_from_db()
    assert (row.state, row.leased_by, effects()) == ("leased", "w2", 0)


@pytest.mark.django_db
def test_what_certainly_did_not_go_out_is_tried_again() -> None:
    def send(_delivery: Delivery) -> None:
        raise NotSentError("nobody answered at port 25")

    outside("mail", send)
    row = publish(handler="mail")
    assert deliver(row) is Outcome.AGAIN
    assert state(row) == "pending"


@pytest.mark.django_db
def test_what_fails_before_it_goes_out_is_tried_again() -> None:
    outside("mail", note, prepare=fail)
    row = publish(handler="mail")
    assert deliver(row) is Outcome.AGAIN
    assert effects() == 1  # what prepare did; the mail itself was not begun


@pytest.mark.django_db
def test_what_failed_on_the_way_out_is_unknown_and_never_sent_again() -> None:
    def send(delivery: Delivery) -> None:
        delivery.going_out()
        fail(delivery)

    outside("mail", send)
    row = publish(handler="mail")
    assert deliver(row) is Outcome.UNKNOWN
    row.refresh_from_db()
    assert row.last_error == "ValueError: the press is cold"
    for days in (1, 30):
        assert deliver(row, now=NOW + timedelta(days=days)) is Outcome.NOT_OURS
        assert row.pk not in services.due_rows(now=NOW + timedelta(days=days))
    assert effects() == 1


def interrupted(name: str = "mail") -> Row:
    """As a worker that is killed between "going out" and "done"."""
    outside(name, note)
    row = lease(publish(handler=name))
    services._update(row, ["leased"], state="sending")
    return row


@pytest.mark.django_db
def test_what_was_interrupted_on_the_way_out_becomes_unknown() -> None:
    row = interrupted()
    assert deliver(row, now=LATER) is Outcome.NOT_OURS
    assert services.due_rows(now=LATER - timedelta(seconds=1)) == []
    assert state(row) == "sending"
    assert services.due_rows(now=LATER) == []
    row.refresh_from_db()
    assert (row.state, row.last_error) == ("unknown", "Interrupted while it was going out.")


@pytest.mark.django_db
def test_what_was_called_unknown_too_early_is_done_once_its_worker_says_so() -> None:
    def send(delivery: Delivery) -> None:
        delivery.going_out()
        services.due_rows(now=LATER)
        assert state(row) == "unknown"

    outside("mail", send)
    row = publish(handler="mail")
    assert deliver(row) is Outcome.DONE
    assert state(row) == "done"


# -- a person's hand -------------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_person_can_have_an_unknown_row_sent_again() -> None:
    row = interrupted()
    services.due_rows(now=LATER)
    services.retry(row_id=row.pk, who="eve", now=LATER)
    assert deliver(row, now=LATER) is Outcome.DONE
    assert effects() == 1
    assert told() == [("eve", "background job tried again", '{"state":"unknown"}', '{"state":"pending"}')]


@pytest.mark.django_db
def test_a_person_can_say_that_it_did_arrive() -> None:
    row = interrupted()
    services.due_rows(now=LATER)
    services.settle(row_id=row.pk, who="eve", now=LATER)
    assert state(row) == "done"
    assert told() == [("eve", "background job called done", '{"state":"unknown"}', '{"state":"done"}')]


@pytest.mark.django_db
@pytest.mark.parametrize("act", [services.retry, services.settle])
def test_a_row_that_is_not_stuck_is_left_to_its_worker(act: Any) -> None:
    row = publish()
    with pytest.raises(services.NotStuckError, match="not stuck any more"):
        act(row_id=row.pk, who="eve", now=NOW)
    with pytest.raises(services.NotStuckError):
        act(row_id=-1, who="eve", now=NOW)
    assert told() == []


def told() -> list[tuple[str, str, str, str]]:
    entries = Entry.objects.filter(subject_type="outbox.row")
    return [(entry.who, entry.what, entry.before, entry.after) for entry in entries]


# -- hints repeated by many workers (D-10) ---------------------------------------------------------------------------

ROWS, HINTS = 60, 50


def deliver_all_hints(number: int) -> list[str]:
    rows = list(Row.objects.order_by("id"))
    outcomes = []
    for hint in range(HINTS // 4 + (number < HINTS % 4)):
        for row in rows if hint % 2 else reversed(rows):
            outcomes.append(deliver(row, worker=f"w{number}").value)
    return outcomes


@pytest.mark.django_db(transaction=True)
def test_a_row_hinted_at_fifty_times_to_four_workers_has_one_effect() -> None:
    with transaction.atomic():
        for number in range(ROWS):
            publish(f"k{number}")
    outcomes = [outcome for answer in race(deliver_all_hints, 4) for outcome in answer]
    assert (outcomes.count("done"), outcomes.count("not ours")) == (ROWS, ROWS * (HINTS - 1))
    assert [effects(f"k{number}") for number in range(ROWS)] == [1] * ROWS


def deliver_by_looking_first(_number: int) -> None:
    for row in Row.objects.order_by("id"):
        if Row.objects.get(pk=row.pk).state == "pending":
            with transaction.atomic():
                note(Delivery(key=row.key, payload={}, now=NOW, attempt=1))
            Row.objects.filter(pk=row.pk).update(state="done", done_at=NOW)


@pytest.mark.control
@pytest.mark.django_db(transaction=True)
def test_workers_that_look_first_and_mark_later_double_their_effects() -> None:
    with transaction.atomic():
        for number in range(ROWS):
            publish(f"k{number}")
    race(deliver_by_looking_first, 4)
    assert any(effects(f"k{number}") > 1 for number in range(ROWS))
