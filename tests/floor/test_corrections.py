"""What is said afterwards: recalled, corrected, ended from memory. Old rows stay; nothing overlaps; sentences at the fields."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from shop.floor.clockings import hanging, open_of
from shop.floor.corrections import ChangedMeanwhileError, Row, correct, recall
from shop.floor.forgotten import closing_after
from shop.floor.models import Clocking, Correction, Tap
from shop.floor.settling import apply_again, end_hanging, leave, waiting
from shop.journal.models import Entry
from shop.people.models import ShopHours, User
from shop.routes.models import Task
from tests.floor.conftest import at, tap, task

pytestmark = pytest.mark.django_db

EVENING: dict[str, Any] = {"who": "joe", "now": at(18)}


def live(who: User) -> list[tuple[str, int, int]]:
    """Task, begin and end in minutes of the day, of what counts."""
    rows = Clocking.objects.filter(person=who, superseded_at=None).order_by("began_at")
    minute = lambda moment: moment.hour * 60 + moment.minute if moment else -1  # noqa: E731
    return [(row.task.name, minute(row.began_at), minute(row.ended_at)) for row in rows]


def wrong(caught: Any) -> dict[str, list[str]]:
    return dict(caught.value.message_dict)


def test_time_nobody_tapped_is_noted_and_marked_as_recalled(joe: User, wheels: Task, tank: Task) -> None:
    recall(person=joe, rows=[Row(wheels, at(8), at(9)), Row(tank, at(9), at(10), True)], **EVENING)
    assert live(joe) == [("Strip the wheels", 480, 540), ("Rub down the tank", 540, 600)]
    assert set(Clocking.objects.values_list("how", "ended_how", "recorded_by")) == {("recalled", "recalled", "joe")}
    assert Entry.objects.get().what == "time recalled"


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        ((at(9), at(8)), "0-ends", "ends before it begins"),
        ((at(9), at(9)), "0-ends", "ends before it begins"),
        ((at(17), at(19)), "0-ends", "still to come"),
        ((at(19), at(20)), "0-begins", "still to come"),
        ((at(9), None), "0-ends", "Say when it ended"),
        ((at(0), at(17)), "0-ends", "more than 16 hours"),
        ((at(10, 30), at(12)), "0-begins", "“Rub down the tank” is noted from 10 a.m. to 11 a.m."),
        ((at(9), at(12)), "0-begins", "“Rub down the tank” is noted from"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence_at_its_field(
    joe: User, wheels: Task, tank: Task, row: Any, field: str, words: str
) -> None:
    recall(person=joe, rows=[Row(tank, at(10), at(11))], **EVENING)
    with pytest.raises(ValidationError) as caught:
        recall(person=joe, rows=[Row(wheels, *row)], **EVENING)
    assert words in wrong(caught)[field][0]
    assert Clocking.objects.count() == 1


def test_two_lines_that_overlap_each_other_are_refused(joe: User, wheels: Task, tank: Task) -> None:
    rows = [Row(tank, at(10), at(11)), Row(wheels, at(9), at(10, 1))]
    with pytest.raises(ValidationError) as caught:
        recall(person=joe, rows=rows, **EVENING)
    assert "overlaps “Strip the wheels”" in wrong(caught)["0-begins"][0]


def test_a_line_may_begin_in_the_minute_in_which_a_tap_ended(joe: User, wheels: Task, tank: Task) -> None:
    """Lines are typed to the minute; taps come to the second."""
    tap(joe, wheels, now=at(9, 0, 20))
    tap(joe, now=at(10, 0, 40))
    recall(person=joe, rows=[Row(tank, at(10), at(11))], **EVENING)
    assert Clocking.objects.get(task=tank).began_at == at(10, 0, 40)


def test_a_correction_puts_new_rows_in_the_place_of_old_ones_which_stay(joe: User, wheels: Task, tank: Task) -> None:
    (row,) = recall(person=joe, rows=[Row(wheels, at(8), at(12))], **EVENING)
    said = correct(
        person=joe, replaced=[row], rows=[Row(wheels, at(8), at(9)), Row(tank, at(9), at(12))], reason="Tank", **EVENING
    )
    row.refresh_from_db()
    assert live(joe) == [("Strip the wheels", 480, 540), ("Rub down the tank", 540, 720)]
    assert (row.superseded_by, row.superseded_at) == (said, at(18))
    assert [made.how for made in said.made.all()] == ["corrected", "corrected"]
    entry = Entry.objects.get(what="clockings corrected")
    assert "Strip the wheels" in entry.before
    assert "Rub down the tank" in entry.after


def test_rows_are_merged_and_taken_back(joe: User, wheels: Task) -> None:
    one, other = recall(person=joe, rows=[Row(wheels, at(8), at(9)), Row(wheels, at(10), at(11))], **EVENING)
    correct(person=joe, replaced=[one, other], rows=[Row(wheels, at(8), at(11))], reason="No pause", **EVENING)
    assert live(joe) == [("Strip the wheels", 480, 660)]
    correct(person=joe, replaced=[Clocking.objects.get(superseded_at=None)], rows=[], reason="Was ill", **EVENING)
    assert live(joe) == []
    assert Clocking.objects.count() == 3


def test_the_begin_of_what_one_is_on_is_corrected_while_it_runs(joe: User, wheels: Task) -> None:
    tap(joe, wheels, now=at(9))
    open_now = open_of(joe)
    assert open_now
    correct(person=joe, replaced=[open_now], rows=[Row(wheels, at(8), None)], reason="Tapped late", **EVENING)
    assert live(joe) == [("Strip the wheels", 480, -1)]


def test_a_correction_needs_a_reason(joe: User, wheels: Task) -> None:
    (row,) = recall(person=joe, rows=[Row(wheels, at(8), at(9))], **EVENING)
    with pytest.raises(ValidationError) as caught:
        correct(person=joe, replaced=[row], rows=[], reason="  ", **EVENING)
    assert "reason" in wrong(caught)
    assert not Correction.objects.exists()


def test_what_was_corrected_or_ended_meanwhile_is_not_corrected_over(joe: User, wheels: Task) -> None:
    (row,) = recall(person=joe, rows=[Row(wheels, at(8), at(9))], **EVENING)
    correct(person=joe, replaced=[row], rows=[], reason="Ill", **EVENING)
    with pytest.raises(ChangedMeanwhileError):
        correct(person=joe, replaced=[row], rows=[Row(wheels, at(8), at(10))], reason="Longer", **EVENING)
    tap(joe, wheels, now=at(9))
    seen = open_of(joe)
    tap(joe, now=at(11))
    assert seen
    with pytest.raises(ChangedMeanwhileError):
        correct(person=joe, replaced=[seen], rows=[Row(wheels, at(8), None)], reason="Late", **EVENING)


# -- forgotten -------------------------------------------------------------------------------------------------------------


def test_work_hangs_two_hours_after_the_shop_shut(joe: User, wheels: Task) -> None:
    """Without hours of its own the shop is open until five."""
    tap(joe, wheels, now=at(13))
    assert hanging(joe, now=at(19)) is None
    assert hanging(joe, now=at(19, 0, 1)) == open_of(joe)


def test_the_hours_the_shop_gave_count(joe: User, wheels: Task) -> None:
    ShopHours.objects.create(weekday=1, opens="08:00", closes="20:00")
    tap(joe, wheels, now=at(13))
    assert hanging(joe, now=at(22)) is None
    assert closing_after(at(13)) == at(20)
    assert closing_after(at(13, day=4)) is None


def test_work_outside_the_hours_hangs_after_ten_hours_only(joe: User, wheels: Task) -> None:
    tap(joe, wheels, now=at(18))
    assert hanging(joe, now=at(4, day=4)) is None
    assert hanging(joe, now=at(4, 0, 1, day=4))


def test_saying_when_it_ended_ends_it_as_recalled_and_applies_what_waited(joe: User, wheels: Task, tank: Task) -> None:
    tap(joe, wheels, now=at(13))
    tap(joe, tank, now=at(8, day=4))
    row = open_of(joe)
    assert row
    answers = end_hanging(clocking=row, ended_at=at(16), who="joe", now=at(8, 5, day=4))
    assert [answer.state for answer in answers] == ["applied"]
    first, second = Clocking.objects.order_by("began_at")
    assert (first.ended_at, first.ended_how, first.how) == (at(16), "recalled", "tap")
    assert (second.task, second.began_at) == (tank, at(8, day=4))
    assert Tap.objects.get(task=tank).state == "applied"


def test_several_taps_that_waited_are_applied_in_their_order(joe: User, wheels: Task, tank: Task) -> None:
    tap(joe, wheels, now=at(13))
    tap(joe, tank, now=at(8, day=4))
    tap(joe, now=at(8, 30, day=4))
    row = open_of(joe)
    assert row
    end_hanging(clocking=row, ended_at=at(16), who="joe", now=at(9, day=4))
    assert [task for task, _begin, _end in live(joe)] == ["Strip the wheels", "Rub down the tank"]
    assert Clocking.objects.get(task=tank).ended_at == at(8, 30, day=4)
    assert not waiting().exists()


@pytest.mark.parametrize("ended", [at(12), at(20, day=5)])
def test_an_end_that_cannot_be_is_refused(joe: User, wheels: Task, ended: Any) -> None:
    tap(joe, wheels, now=at(13))
    row = open_of(joe)
    assert row
    with pytest.raises(ValidationError) as caught:
        end_hanging(clocking=row, ended_at=ended, who="joe", now=at(8, day=4))
    assert "ends" in wrong(caught)


# -- taps that wait --------------------------------------------------------------------------------------------------------


def test_a_tap_is_applied_for_its_own_time_once_what_held_it_is_gone(joe: User) -> None:
    closed = task("Old frame", closed_at=at(7))
    tap(joe, closed, now=at(9))
    (kept,) = waiting()
    with pytest.raises(ValidationError, match="is closed"):
        apply_again(tap=kept, who="ann", now=at(10))
    Task.objects.update(closed_at=None)
    (kept,) = waiting()
    apply_again(tap=kept, who="ann", now=at(10))
    kept.refresh_from_db()
    assert (Clocking.objects.get().began_at, kept.state, kept.settled_by) == (at(9), "applied", "ann")


def test_a_tap_that_is_let_be_stays_as_it_was(joe: User) -> None:
    tap(joe, task("Old frame", closed_at=at(7)), now=at(9))
    (kept,) = waiting()
    leave(tap=kept, who="ann", now=at(10))
    kept.refresh_from_db()
    assert (kept.state, kept.settled_by, kept.reason != "") == ("settled", "ann", True)
    with pytest.raises(ValidationError, match="meanwhile"):
        leave(tap=kept, who="ann", now=at(10) + timedelta(minutes=1))
