"""What comes back after hand-over, and small jobs that walk in: each has a task of its own, and is settled with words."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from shop.floor import comebacks, walk_ins
from shop.floor.models import Comeback, WalkIn
from shop.journal.models import Entry
from shop.restorations.models import Restoration
from shop.routes.models import Step, Task
from tests.floor.bench import Bench, bench
from tests.floor.leaves import all_runs, hand_over, looked_at
from tests.workshop import NOW, WHO, frame, restoration

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def gone() -> Bench:
    looked_at()
    at = bench()
    all_runs(at.bike, at.joe)
    hand_over(at.bike)
    return at


def came_back(at: Bench, **changes: object) -> Comeback:
    given = {"restoration": at.bike, "step": at.spray, "words": "Coat lifts at the steering stop", "pays": "we"}
    given |= {"came_on": NOW.date(), "cause": at.cause} | WHO
    return comebacks.note_comeback(**given | changes)  # type: ignore[arg-type]


def test_a_comeback_is_a_task_of_its_own_that_names_the_step_it_comes_from(gone: Bench) -> None:
    row = came_back(gone)
    task = row.task
    assert (task.kind, task.origin_uid, task.restoration) == (Task.Kind.COMEBACK, gone.spray.uid, gone.bike)
    assert task.name == "Comeback: Coat lifts at the steering stop"
    assert Entry.objects.filter(what="comeback noted", subject_uid=gone.bike.uid).count() == 1


def test_before_hand_over_it_is_a_snag() -> None:
    at = bench()
    with pytest.raises(ValidationError, match="is a snag: note it there"):
        came_back(at)
    assert not Task.objects.filter(kind=Task.Kind.COMEBACK).exists()


def test_a_step_of_another_bike_and_an_impossible_day_are_refused(gone: Bench) -> None:
    other: Restoration = restoration()
    step: Step = frame(other, gone.shop).steps.all()[0]
    for changes, field in (
        ({"step": step}, "step"),
        ({"came_on": NOW.date() + DAY}, "came_on"),
        ({"came_on": NOW.date() - DAY}, "came_on"),
        ({"words": " "}, "words"),
        ({"pays": "nobody"}, "pays"),
    ):
        with pytest.raises(ValidationError) as refused:
            came_back(gone, **changes)
        assert list(refused.value.message_dict) == [field]


def test_a_form_sent_twice_is_one_comeback(gone: Bench) -> None:
    uid = uuid4()
    assert came_back(gone, uid=uid) == came_back(gone, uid=uid)
    assert Task.objects.filter(kind=Task.Kind.COMEBACK).count() == 1


def test_it_is_settled_with_what_was_done_and_its_task_goes(gone: Bench) -> None:
    row = came_back(gone)
    with pytest.raises(ValidationError, match="Say what was done"):
        comebacks.settle_comeback(comeback=row, how=" ", **WHO)
    comebacks.settle_comeback(comeback=row, how="Stop reshaped, coat mended", **WHO)
    row.refresh_from_db()
    assert (row.settled_how, row.settled_at) == ("Stop reshaped, coat mended", NOW)
    assert row.task.closed_at == NOW


def test_it_is_not_settled_while_somebody_is_on_it(gone: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    row = came_back(gone)
    monkeypatch.setattr("shop.routes.tasks.on_tasks", lambda: {row.task.pk: [gone.joe]})
    with pytest.raises(ValidationError, match="Somebody is on this task"):
        comebacks.settle_comeback(comeback=row, how="Done", **WHO)
    assert Comeback.objects.get().settled_at is None


def test_they_are_counted_by_work_cause_and_who_pays(gone: Bench) -> None:
    came_back(gone)
    came_back(gone, words="Runs", pays="vendor")
    last = came_back(gone, step=gone.fit, cause=None)
    comebacks.settle_comeback(comeback=last, how="Done", **WHO)
    rows = list(comebacks.comebacks())
    assert rows[-1] == last
    found = comebacks.counted(rows)
    assert found.works == [(str(gone.spray), 2), (str(gone.fit), 1)]
    assert found.causes == [("Runs in the coat", 2), ("no cause said", 1)]
    assert found.pays == [("we do", 2), ("a vendor", 1)]


# small jobs


def walked_in(**changes: object) -> WalkIn:
    given = {"what": "True a wheel", "customer": "Mrs Dale", "agreed_minor": 8_500, "agreed_on": NOW.date()} | WHO
    return walk_ins.note_walk_in(**given | changes)  # type: ignore[arg-type]


def test_a_small_job_is_a_task_that_says_neither_who_nor_how_much(db: None) -> None:
    row = walked_in(phone="0123", minutes=90)
    assert (row.task.kind, row.task.name, row.task.restoration) == (Task.Kind.WALK_IN, "True a wheel", None)
    assert (row.customer, row.agreed_minor, row.minutes) == ("Mrs Dale", 8_500, 90)
    assert "Dale" not in row.task.name + row.task.key


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"what": " "}, "what"),
        ({"customer": ""}, "customer"),
        ({"agreed_minor": -1}, "agreed_minor"),
        ({"minutes": 0}, "minutes"),
        ({"agreed_on": NOW.date() + DAY}, "agreed_on"),
    ],
)
def test_what_is_wrong_with_a_small_job_is_said_at_its_field(db: None, changes: dict[str, object], field: str) -> None:
    with pytest.raises(ValidationError) as refused:
        walked_in(**changes)
    assert list(refused.value.message_dict) == [field]
    assert not Task.objects.exists()


def test_a_small_job_sent_twice_is_kept_once(db: None) -> None:
    uid = uuid4()
    assert walked_in(uid=uid) == walked_in(uid=uid)
    assert Task.objects.count() == 1


def test_done_and_paid_are_two_things_and_paid_can_be_taken_back(db: None) -> None:
    row = walked_in()
    walk_ins.finish_walk_in(walk_in=row, **WHO)
    assert Task.objects.get().closed_at == NOW
    with pytest.raises(ValidationError, match="before it was agreed"):
        walk_ins.paid(walk_in=row, on=NOW.date() - DAY, **WHO)
    assert walk_ins.paid(walk_in=row, on=NOW.date(), **WHO).paid_on == NOW.date()
    other = walked_in(what="New tyre")
    assert list(walk_ins.walk_ins()) == [other, row]
    assert walk_ins.paid(walk_in=row, on=None, **WHO).paid_on is None
    assert Entry.objects.filter(what="small job paid").count() == 2
