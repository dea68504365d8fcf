"""Runs, ticks and snags before a bike leaves, and that it does not leave before they are in order."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from shop.floor import leaving
from shop.floor.models import Run, RunTick, Snag
from shop.journal.models import Entry
from shop.methods.models import RunCheck, Stage
from tests.floor.bench import Bench, bench
from tests.floor.leaves import all_runs, check, looked_at, run
from tests.workshop import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def at() -> Bench:
    looked_at()
    return bench()


def begun(at: Bench, stage: str = Stage.ROAD_TEST) -> Run:
    return leaving.begin_run(restoration=at.bike, stage=stage, person=at.joe, now=NOW)


def tick(at: Bench, row: Run, words: str, *, right: bool = True, note: str = "") -> RunTick:
    return leaving.tick(run=row, check=check(words), as_it_should=right, note=note, person=at.joe, now=NOW)


def test_a_run_asks_what_its_stage_asks_in_order_and_nothing_that_ended(at: Bench) -> None:
    RunCheck.objects.create(stage=Stage.ROAD_TEST, position=3, words="Mirrors", ended=True)
    assert [one.check.words for one in leaving.checks_of(begun(at))] == ["Brakes at walking pace", "Lights"]


def test_beginning_twice_is_one_run_and_a_finished_one_can_be_done_once_more(at: Bench) -> None:
    assert begun(at) == begun(at)
    first = run(at.bike, at.joe, Stage.ROAD_TEST)
    again = begun(at)
    assert again != first
    assert [one.tick for one in leaving.checks_of(again)] == [None, None]


def test_it_is_not_finished_while_a_tick_is_missing(at: Bench) -> None:
    row = begun(at)
    tick(at, row, "Brakes at walking pace")
    with pytest.raises(ValidationError, match="Not ticked yet: Lights") as refused:
        leaving.finish_run(run=row, distance=Decimal(12), person=at.joe, now=NOW)
    assert len(refused.value.messages) == 1
    assert Run.objects.get().finished_at is None


def test_on_the_road_it_says_how_far_and_at_the_first_start_it_does_not(at: Bench) -> None:
    with pytest.raises(ValidationError, match="Say how far it went"):
        run(at.bike, at.joe, Stage.ROAD_TEST, distance=None)
    assert run(at.bike, at.joe, Stage.ROAD_TEST, distance=Decimal("12.5")).distance == Decimal("12.5")
    assert run(at.bike, at.joe, Stage.FIRST_START).distance is None


def test_not_as_it_should_be_is_a_snag_with_one_tap_and_only_one(at: Bench) -> None:
    row = begun(at)
    tick(at, row, "Lights", right=False, note="stop lamp dark")
    tick(at, row, "Lights", right=False, note="stop lamp dark")
    tick(at, row, "Lights", right=False, note="and the horn")
    (snag,) = Snag.objects.all()
    assert (snag.words, snag.run, snag.person) == ("Lights: stop lamp dark", row, at.joe)
    assert row.ticks.count() == 2


def test_a_snag_that_was_settled_and_is_there_again_is_another_one(at: Bench) -> None:
    row = begun(at)
    tick(at, row, "Lights", right=False)
    leaving.settle_snag(snag=Snag.objects.get(), how="New bulb", person=at.joe, now=NOW)
    tick(at, row, "Lights", right=False, note="dark again")
    assert Snag.objects.count() == 2


def test_a_finished_run_takes_no_more_ticks(at: Bench) -> None:
    row = run(at.bike, at.joe, Stage.ROAD_TEST)
    with pytest.raises(ValidationError, match="Begin the stage once more"):
        tick(at, row, "Lights")


def test_a_check_of_another_stage_is_refused(at: Bench) -> None:
    with pytest.raises(ValidationError, match="not looked at here"):
        tick(at, begun(at), "No leaks")


def test_a_run_begun_by_a_slip_is_taken_back_unless_something_was_noted(at: Bench) -> None:
    leaving.drop_run(run=begun(at), person=at.joe, now=NOW)
    assert not Run.objects.exists()
    row = begun(at)
    tick(at, row, "Lights")
    with pytest.raises(ValidationError, match="noted on this run already"):
        leaving.drop_run(run=row, person=at.joe, now=NOW)


# may it leave


def test_every_stage_that_is_asked_for_has_to_be_run(at: Bench) -> None:
    assert leaving.not_ready(at.bike) == ["The first start is missing.", "The road test is missing."]
    all_runs(at.bike, at.joe)
    assert leaving.not_ready(at.bike) == []
    begun(at)
    assert leaving.not_ready(at.bike) == ["The road test is begun and not finished."]


def test_what_was_not_as_it_should_be_is_settled_and_looked_at_again(at: Bench) -> None:
    run(at.bike, at.joe, Stage.FIRST_START)
    run(at.bike, at.joe, Stage.ROAD_TEST, wrong="Lights")
    looks_again = "The road test: “Lights” was not as it should be, and nobody has looked again."
    assert leaving.not_ready(at.bike) == [looks_again, "Snag: Lights. Settle it first."]
    leaving.settle_snag(snag=Snag.objects.get(), how="New bulb", person=at.joe, now=NOW)
    assert leaving.not_ready(at.bike) == [looks_again]
    run(at.bike, at.joe, Stage.ROAD_TEST)
    assert leaving.not_ready(at.bike) == []


def test_a_snag_is_settled_with_what_was_done_and_by_whom(at: Bench) -> None:
    snag = leaving.add_snag(restoration=at.bike, words=" Clutch cable frayed ", person=at.joe, now=NOW)
    with pytest.raises(ValidationError, match="Say what was done"):
        leaving.settle_snag(snag=snag, how="  ", person=at.joe, now=NOW)
    leaving.settle_snag(snag=snag, how="New cable", person=at.joe, now=NOW)
    snag.refresh_from_db()
    assert (snag.words, snag.settled_how, snag.settled_by) == ("Clutch cable frayed", "New cable", "joe")
    leaving.settle_snag(snag=snag, how="Something else", person=at.joe, now=NOW)
    assert Snag.objects.get().settled_how == "New cable"


def test_a_form_sent_twice_is_one_snag(at: Bench) -> None:
    uid = at.part.uid
    for _ in range(2):
        leaving.add_snag(restoration=at.bike, words="Rattles", uid=uid, person=at.joe, now=NOW)
    assert Snag.objects.count() == 1


def test_a_snag_is_traced_to_a_step_of_its_own_bike(at: Bench) -> None:
    snag = leaving.add_snag(restoration=at.bike, words="Runs in the coat", person=at.joe, now=NOW)
    assert at.spray in leaving.steps_of(at.bike, f"{at.part.name} {at.spray}")
    assert leaving.steps_of(at.bike, "no such thing") == []
    leaving.say_step(snag=snag, step=at.spray, person=at.joe, now=NOW)
    assert Snag.objects.get().step == at.spray
    other = bench_of_another_bike(at)
    with pytest.raises(ValidationError, match="another bike"):
        leaving.say_step(snag=snag, step=other, person=at.joe, now=NOW)


def bench_of_another_bike(at: Bench):  # type: ignore[no-untyped-def]
    from tests.workshop import frame, restoration

    return frame(restoration(), at.shop).steps.first()


def test_the_journal_says_what_was_begun_finished_noted_and_settled(at: Bench) -> None:
    run(at.bike, at.joe, Stage.ROAD_TEST, wrong="Lights")
    leaving.settle_snag(snag=Snag.objects.get(), how="New bulb", person=at.joe, now=NOW)
    told = list(Entry.objects.filter(subject_uid=at.bike.uid).order_by("pk").values_list("what", flat=True))
    assert told[-4:] == ["run begun", "snag noted", "run finished", "snag settled"]


def test_how_a_bike_stands_takes_as_many_queries_with_one_run_as_with_many(
    at: Bench, django_assert_num_queries
) -> None:  # type: ignore[no-untyped-def]
    run(at.bike, at.joe, Stage.ROAD_TEST)
    with django_assert_num_queries(3):
        leaving.stages(at.bike)
    for _ in range(5):
        run(at.bike, at.joe, Stage.ROAD_TEST, wrong="Lights")
    with django_assert_num_queries(3):
        leaving.stages(at.bike)
