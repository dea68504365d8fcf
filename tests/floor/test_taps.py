"""Every tap is kept and answered (DESIGN section 9, Taps); nobody is on two tasks at once."""

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from shop.floor import clockings, taps
from shop.floor.clockings import Why
from shop.floor.models import Clocking, Tap
from shop.people.models import User
from shop.routes.models import Task
from tests.floor.conftest import NOON, at, tap, task

pytestmark = pytest.mark.django_db


def open_now(who: User) -> Clocking | None:
    return Clocking.objects.filter(person=who, ended_at=None, superseded_at=None).first()


def test_on_puts_a_person_on_the_task_from_when_it_was_received(joe: User, wheels: Task) -> None:
    answer = tap(joe, wheels, now=at(9))
    row = open_now(joe)
    assert (answer.status, answer.state) == (200, Tap.State.APPLIED)
    assert row
    assert (row.task, row.began_at, row.how, row.recorded_by) == (wheels, at(9), "tap", "joe")
    assert answer.on
    assert (answer.on.uid, answer.on.name) == (str(row.uid), "Strip the wheels")


def test_on_while_on_something_ends_that_at_the_same_instant(joe: User, wheels: Task, tank: Task) -> None:
    tap(joe, wheels, now=at(9))
    tap(joe, tank, now=at(10, 30))
    first, second = Clocking.objects.order_by("pk")
    assert (first.ended_at, first.ended_how, second.began_at, second.ended_at) == (at(10, 30), "tap", at(10, 30), None)


def test_on_for_what_one_is_on_already_changes_nothing(joe: User, wheels: Task) -> None:
    tap(joe, wheels, now=at(9))
    assert tap(joe, wheels, now=at(10)).status == 200
    assert Clocking.objects.get().began_at == at(9)


def test_off_ends_what_one_is_on_and_may_be_said_twice(joe: User, wheels: Task) -> None:
    tap(joe, wheels, now=at(9))
    assert tap(joe, now=at(11)).words.startswith("Off “Strip the wheels”")
    assert tap(joe, now=at(11, 1)).status == 200
    assert Clocking.objects.get().ended_at == at(11)


def test_the_same_tap_again_gets_the_same_answer_and_does_nothing(joe: User, wheels: Task) -> None:
    uid = uuid.uuid4()
    first = tap(joe, wheels, now=at(9), uid=uid)
    tap(joe, now=at(10))
    assert tap(joe, wheels, now=at(11), uid=uid) == first
    assert open_now(joe) is None
    assert Tap.objects.filter(uid=uid).count() == 1


def test_a_used_number_with_another_body_is_refused(joe: User, wheels: Task, tank: Task) -> None:
    uid = uuid.uuid4()
    tap(joe, wheels, now=at(9), uid=uid)
    assert tap(joe, tank, now=at(9), uid=uid).status == 422
    assert Clocking.objects.get().task == wheels


def test_a_tap_for_a_closed_task_is_kept_and_asked_about(joe: User) -> None:
    closed = task("Old frame", closed_at=NOON)
    answer = tap(joe, closed)
    kept = Tap.objects.get()
    assert (answer.status, answer.why, answer.taken) == (202, Why.CLOSED, True)
    assert (kept.state, kept.reason) == (Tap.State.ASKED, answer.words)
    assert "is closed" in answer.words


def test_a_tap_for_no_known_task_is_kept_and_asked_about(joe: User) -> None:
    assert tap(joe, None, kind=Tap.Kind.ON).why == Why.UNKNOWN
    assert Tap.objects.get().state == Tap.State.ASKED


def test_a_task_for_one_person_refuses_a_second_and_names_the_first(joe: User, ann: User) -> None:
    oven = task("Oven", alone=True)
    tap(joe, oven, now=at(9))
    answer = tap(ann, oven, now=at(9, 5))
    assert (answer.status, answer.why, answer.on and answer.on.person) == (409, Why.ALONE, "Joe")
    assert open_now(ann) is None


def test_the_database_refuses_the_second_person_too(joe: User, ann: User, monkeypatch: pytest.MonkeyPatch) -> None:
    """As when both looked before either was on it."""
    oven = task("Oven", alone=True)
    tap(joe, oven, now=at(9))
    monkeypatch.setattr("shop.floor.clockings._turn", lambda task, at: at)
    answer = tap(ann, oven, now=at(9, 5))
    assert (answer.status, answer.why, answer.on and answer.on.person) == (409, Why.ALONE, "Joe")
    assert Tap.objects.get(person=ann).state == Tap.State.ASKED


def test_whoever_comes_on_a_task_for_one_as_another_leaves_begins_when_that_one_has_left(joe: User, ann: User) -> None:
    """Ann's tap came in a moment before Joe's was written down: both waited for the same lock."""
    oven, before = task("Oven", alone=True), task("Before")
    left = at(10, 0, 0) + timedelta(milliseconds=200)
    tap(ann, before, now=at(9))
    tap(joe, oven, now=at(9))
    tap(joe, now=left)
    answer = tap(ann, oven, now=at(10))
    assert answer.status == 200
    rows = Clocking.objects.order_by("pk").values_list("person__username", "began_at", "ended_at")
    assert list(rows) == [("ann", at(9), left), ("joe", at(9), left), ("ann", left, None)]


def test_the_database_refuses_two_at_one_moment_on_a_task_for_one_and_the_tap_ends_right(
    joe: User, ann: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when Ann looked before Joe's end was there: she looks again, and begins when he has left."""
    oven = task("Oven", alone=True)
    left = at(10) + timedelta(milliseconds=200)
    tap(joe, oven, now=at(9))
    tap(joe, now=left)
    real, looks = clockings._turn, iter([lambda task, at: at])
    monkeypatch.setattr(clockings, "_turn", lambda task, at: next(looks, real)(task, at))
    answer = tap(ann, oven, now=at(10))
    assert (answer.status, open_now(ann).began_at) == (200, left)  # type: ignore[union-attr]
    with pytest.raises(IntegrityError), transaction.atomic():
        Clocking.objects.create(
            person=ann,
            task=oven,
            alone=True,
            began_at=at(9, 30),
            ended_at=at(9, 40),
            ended_how="tap",
            recorded_by="ann",
        )


def test_a_late_tap_into_time_in_which_another_had_a_task_for_one_is_asked_about(joe: User, ann: User) -> None:
    oven = task("Oven", alone=True)
    tap(joe, oven, now=at(9))
    tap(joe, now=at(10))
    answer = tap(ann, oven, now=at(11), device_at=at(9, 30), queued=True)
    assert (answer.status, answer.why, Tap.objects.last().state) == (409, Why.OVERLAP, "asked")  # type: ignore[union-attr]
    assert answer.words == "Joe was on “Oven” from 9 a.m. to 10 a.m., and it takes one person at a time."
    assert open_now(ann) is None


def test_nobody_is_put_on_a_task_whose_steps_are_in_another_one_now(joe: User) -> None:
    answer = tap(joe, task("Blast", kind=Task.Kind.BIKE))
    assert (answer.status, answer.why) == (202, Why.CLOSED)
    assert "are in another task now" in answer.words


def test_a_device_that_did_not_see_what_another_tapped_is_told_and_not_obeyed(
    joe: User, wheels: Task, tank: Task
) -> None:
    tap(joe, wheels, now=at(9), seen="")
    answer = tap(joe, tank, now=at(9, 0, 1), seen="")
    assert (answer.status, answer.why, answer.on and answer.on.name) == (409, Why.BEATEN, "Strip the wheels")
    assert open_now(joe).task == wheels  # type: ignore[union-attr]


def test_a_tap_that_lost_is_taken_when_it_is_sent_again(joe: User, wheels: Task, tank: Task) -> None:
    uid = uuid.uuid4()
    tap(joe, wheels, now=at(9), seen="")
    assert tap(joe, tank, now=at(9, 0, 1), seen="", uid=uid).status == 409
    repeated = tap(joe, tank, now=at(9, 0, 2), seen="", uid=uid)
    assert (repeated.status, repeated.state, repeated.why) == (200, Tap.State.ASKED, Why.BEATEN)


def test_what_was_answered_on_the_spot_waits_for_nobody_once_a_tap_holds(joe: User, wheels: Task, tank: Task) -> None:
    tap(joe, wheels, now=at(9), seen="")
    tap(joe, tank, now=at(9, 0, 1), seen="")
    tap(joe, task("Old", closed_at=NOON), now=at(9, 1))
    tap(joe, tank, now=at(9, 2), seen=str(open_now(joe).uid))  # type: ignore[union-attr]
    assert list(Tap.objects.values_list("state", flat=True)) == ["applied", "settled", "asked", "applied"]


def test_what_was_answered_when_nobody_was_there_waits_for_somebody(joe: User, ann: User) -> None:
    """Tapped without a connection: the tablet had the answer later, and perhaps nobody read it."""
    oven, other = task("Oven", alone=True), task("Other")
    tap(joe, oven, now=at(9))
    tap(ann, oven, now=at(10), device_at=at(9, 30), queued=True)
    tap(ann, other, now=at(10, 1))
    assert list(Tap.objects.values_list("state", flat=True)) == ["applied", "asked", "applied"]


def test_an_error_nobody_thought_of_leaves_the_tap_and_nothing_else(
    joe: User, wheels: Task, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    real = taps.APPLIES[Tap.Kind.ON]

    def fails(kept: Tap, seen: str | None) -> Any:
        real(kept, seen)
        raise ZeroDivisionError

    monkeypatch.setitem(taps.APPLIES, Tap.Kind.ON, fails)
    answer = tap(joe, wheels)
    assert (answer.status, answer.why) == (202, Why.TROUBLE)
    assert Tap.objects.get().state == Tap.State.ASKED
    assert not Clocking.objects.exists()


def test_the_time_of_the_device_counts_only_where_the_tap_had_to_wait(joe: User, ann: User, wheels: Task) -> None:
    early = at(8, 30)
    tap(joe, wheels, now=at(9), device_at=early)
    tap(ann, wheels, now=at(9), device_at=early, queued=True)
    assert [row.began_at for row in Clocking.objects.order_by("pk")] == [at(9), early]


def test_a_device_whose_clock_is_ahead_is_not_believed(joe: User, wheels: Task) -> None:
    tap(joe, wheels, now=at(9), device_at=at(9) + timedelta(hours=5), queued=True)
    assert Clocking.objects.get().began_at == at(9)


def test_a_tap_from_before_the_present_clocking_is_asked_about(joe: User, wheels: Task, tank: Task) -> None:
    tap(joe, wheels, now=at(9))
    answer = tap(joe, tank, now=at(10), device_at=at(8), queued=True)
    assert (answer.status, answer.why) == (202, Why.OTHER_ORDER)


def test_an_old_tap_into_time_that_is_taken_is_asked_about(joe: User, wheels: Task, tank: Task) -> None:
    tap(joe, wheels, now=at(9))
    tap(joe, now=at(10))
    answer = tap(joe, tank, now=at(11), device_at=at(9, 30), queued=True)
    assert (answer.status, answer.why, Clocking.objects.count()) == (409, Why.OVERLAP, 1)


def test_a_tap_waits_while_a_forgotten_clocking_hangs(joe: User, wheels: Task, tank: Task) -> None:
    tap(joe, wheels, now=at(13))
    answer = tap(joe, tank, now=at(8, day=4))
    assert (answer.status, answer.why) == (202, Why.HANGING)
    assert Clocking.objects.get().ended_at is None


def test_a_tap_takes_few_queries(joe: User, wheels: Task, tank: Task, django_assert_num_queries: Any) -> None:
    """Savepoints and the lock of PostgreSQL count too; on SQLite there is nothing to lock."""
    tap(joe, wheels, now=at(9))
    locks = int(connection.features.has_select_for_update)
    with django_assert_num_queries(
        11 + locks
    ):  # two savepoints, tap in, on what, authorised, end, begin, tap out, others
        tap(joe, tank, now=at(10))


@pytest.mark.parametrize("statement", ["UPDATE floor_tap SET body = 'x'", "DELETE FROM floor_tap"])
def test_a_tap_stays_as_it_came_in(joe: User, wheels: Task, statement: str) -> None:
    tap(joe, wheels)
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
