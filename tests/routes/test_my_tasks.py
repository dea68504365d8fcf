"""What is next at the bench, and how long it takes by the standard."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine.costs import done_alone, member_of
from quotes.engine.rollup import costing
from quotes.pricing.building import engine_input
from shop.methods.models import ConditionFactor, Place, StandardTime
from shop.people.models import User
from shop.restorations.models import Part, Restoration
from shop.routes import presence
from shop.routes.again import again
from shop.routes.finishing import finish_step
from shop.routes.models import Plan, PlannedStep, Step, Task, TaskStep
from shop.routes.my_tasks import TaskCard, indirect_tasks, task_card, task_cards
from shop.routes.selectors import scope
from shop.routes.services import add_step, remove_step, wait_for
from shop.routes.splitting import split_part
from shop.routes.standard import NOTHING, standard_minutes
from shop.routes.tasks import form_tasks, indirect_task, make_task
from tests.at_the_bench import agreed, bench_frame
from tests.workshop import NOW, SINCE, TODAY, WHO, Workshop, draft, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike() -> Restoration:
    return restoration()


def formed(part: Part) -> list[Step]:
    found = agreed(part)
    form_tasks(restoration=part.restoration, now=NOW)
    return found


def planned(step: Step, starts: date, *, slack: int = 0, leave_by: date | None = None) -> None:
    bike = step.part.restoration
    days = {"starts_on": TODAY, "ready_certain": TODAY, "ready_likely": TODAY, "ready_kept": TODAY}
    plan, _new = Plan.objects.get_or_create(restoration=bike, defaults={"scope_version": 1, "made_at": NOW, **days})
    at = datetime(starts.year, starts.month, starts.day, 9, tzinfo=UTC)
    times = dict.fromkeys(("earliest_start", "earliest_finish", "latest_start", "latest_finish"), at)
    PlannedStep.objects.create(plan=plan, step=step, slack=slack, leave_by=leave_by, **times)


def names(**given: object) -> list[str]:
    return [card.task.name for card in task_cards(now=NOW, **given)]


def card_of(step: Step, **given: object) -> TaskCard:
    return next(card for card in task_cards(now=NOW, **given) if step in {line.step for line in card.lines})


# -- the order --------------------------------------------------------------------------------------------------------


def test_what_waits_comes_last_and_says_what_for(shop: Workshop, bike: Restoration) -> None:
    formed(bench_frame(bike, shop))
    ready, waiting = task_cards(now=NOW)
    assert [ready.task.name, ready.is_ready, ready.waits_for] == ["Blast, Black", True, ()]
    assert [waiting.task.name, waiting.is_ready, waiting.waits_for] == [
        "Spray, Black",
        False,
        ("“Blast” comes first.",),
    ]


def test_the_day_something_must_leave_comes_before_the_day_work_must_begin(shop: Workshop, bike: Restoration) -> None:
    """The lever has time to be polished until the 20th, but must leave for the plater on the 5th."""
    lever = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    polish = add_step(part=lever, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    plate = lever.steps.get(service=shop.plate)
    formed(lever)
    blast, *_ = formed(bench_frame(bike, shop))
    planned(blast, date(2026, 3, 6))
    planned(polish, date(2026, 3, 20))
    assert names()[:2] == ["Blast, Black", "Fit"]
    planned(plate, date(2026, 3, 20), leave_by=date(2026, 3, 5))
    assert names()[:2] == ["Fit", "Blast, Black"]
    assert [card.must for card in task_cards(now=NOW)][:2] == [date(2026, 3, 5), date(2026, 3, 6)]
    finish_step(step=polish, **WHO)
    finish_step(step=plate, **WHO)
    assert "Fit" not in names()


def test_only_the_next_vendor_work_counts_and_what_is_back_does_not(shop: Workshop, bike: Restoration) -> None:
    lever = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    fit = add_step(part=lever, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    plate = lever.steps.get(service=shop.plate)
    formed(lever)
    planned(plate, TODAY, leave_by=date(2026, 3, 3))
    planned(fit, date(2026, 3, 30))
    assert card_of(fit).must == date(2026, 3, 30)
    blast, *_ = formed(bench_frame(bike, shop))
    wait_for(step=plate, on=blast, **WHO)
    assert card_of(blast).must == date(2026, 3, 3)


def test_of_one_day_what_has_less_slack_comes_first_and_then_what_has_its_place_free(
    shop: Workshop, bike: Restoration, monkeypatch: pytest.MonkeyPatch
) -> None:
    cabinet, bench = Place.objects.create(name="Cabinet"), Place.objects.create(name="Bench")
    for operation, place in ((shop.blast, cabinet), (shop.fit, bench)):
        operation.place = place
        operation.save()
    blast, *_ = formed(bench_frame(bike, shop))
    guard = bench_frame(bike, shop, name="Guard")
    fit = add_step(part=guard, origin=Step.Origin.BEFORE, operation=shop.fit, **WHO)
    formed(guard)
    planned(blast, TODAY, slack=60)
    planned(fit, TODAY, slack=30)
    assert names()[:2] == ["Fit", "Blast, Black"]
    PlannedStep.objects.update(slack=60)
    assert names()[:2] == ["Blast, Black", "Fit"]
    person = User.objects.create(username="mo")
    other = Task.objects.create(name="Other", kind="indirect", place=cabinet, made_at=NOW)
    monkeypatch.setattr(presence, "_read", lambda: {other.pk: {person.pk}})
    assert names()[:2] == ["Fit", "Blast, Black"]
    assert names(person=person)[:2] == ["Blast, Black", "Fit"]


def test_rework_stands_by_the_urgency_of_its_steps_and_a_small_job_by_the_day_it_came(
    shop: Workshop, bike: Restoration
) -> None:
    blast, *_ = formed(bench_frame(bike, shop))
    finish_step(step=blast, **WHO)
    planned(blast, date(2026, 3, 9))
    rework = again(step=blast, back_to=blast, remedies=[], **WHO)
    job = make_task(name="Patch a tube", kind=Task.Kind.WALK_IN, **WHO)
    cards = task_cards(now=NOW)
    assert [(card.task, card.must) for card in cards[:2]] == [(job, TODAY), (rework, date(2026, 3, 9))]


def test_only_one_person_on_a_task_alone(shop: Workshop, bike: Restoration, monkeypatch: pytest.MonkeyPatch) -> None:
    blast, *_ = formed(bench_frame(bike, shop))
    task = card_of(blast).task
    Task.objects.filter(pk=task.pk).update(alone=True)
    mo, di = User.objects.create(username="mo"), User.objects.create(username="di")
    monkeypatch.setattr(presence, "_read", lambda: {task.pk: {mo.pk}})
    assert [card_of(blast, person=mo).taken, card_of(blast, person=di).taken] == [False, True]
    assert card_of(blast).on == {mo.pk}


# -- what is on a card --------------------------------------------------------------------------------------------------


def test_a_card_shows_what_is_still_to_do_on_the_present_visit(shop: Workshop, bike: Restoration) -> None:
    one, other = formed(bench_frame(bike, shop)), formed(bench_frame(bike, shop, name="Tank"))
    finish_step(step=one[0], **WHO)
    card = card_of(other[0])
    assert ([line.step for line in card.lines], [line.step for line in card.done]) == ([other[0]], [one[0]])
    remove_step(step=other[0], **WHO)
    assert names() == ["Spray, Black"]
    again(step=one[0], back_to=one[0], remedies=[], **WHO)
    assert task_card(card.task, now=NOW).lines == ()
    assert names()[0] == "Again: Frame, Blast"


def test_one_bike_or_all_and_what_is_for_no_bike_apart(shop: Workshop, bike: Restoration) -> None:
    other = restoration("Wren")
    mine, _spray = formed(bench_frame(bike, shop))
    theirs, _spray = formed(bench_frame(other, shop))
    both = make_task(name="Both", lines=list(TaskStep.objects.filter(step__in=[mine, theirs])), **WHO)
    phone = indirect_task(name="Telephone", **WHO)
    assert {card.task for card in task_cards(now=NOW, restoration=other)} >= {both}
    assert len(task_cards(now=NOW, restoration=other)) == 2
    assert len(task_cards(now=NOW)) == 3
    assert set(card_of(mine).bikes) == {bike, other}
    assert list(indirect_tasks()) == [phone]


def test_cards_of_one_bike_and_of_many_take_as_many_queries(shop: Workshop, bike: Restoration) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            cards = task_cards(now=NOW)
            assert [(card.waits_for, card.standard, str(card.bikes)) for card in cards]
        return len(asked)

    planned(formed(bench_frame(bike, shop))[0], TODAY)
    alone = queries()
    for number in range(4):
        row = restoration(f"Wren {number}")
        for name in ("Frame", "Tank"):
            planned(formed(bench_frame(row, shop, name=name))[0], TODAY)
    assert queries() == alone
    assert alone < 36


# -- standard times -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("capacity", [0, 25])
def test_standard_minutes_are_what_the_engine_makes_of_a_step_standing_alone(
    shop: Workshop, bike: Restoration, capacity: int
) -> None:
    """The price of doing a step alone is worked out by other code: `quotes.engine.costs`. Pace and shop factor are 1 here."""
    shop.blast.place = Place.objects.create(name="Cabinet", capacity=capacity, capacity_by="dm2")
    shop.blast.save()
    times = {"setup": 12, "run": Decimal("0.5"), "allowance": 15}
    StandardTime.objects.create(operation=shop.blast, valid_from=SINCE, revision=2, **times)
    ConditionFactor.objects.create(operation=shop.blast, condition="worn", factor=Decimal("1.3"))
    part = bench_frame(bike, shop, pieces=3)
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, quantity=Decimal(7), **WHO)
    found = scope(bike)
    given = engine_input(found, draft(bike))
    book = costing(given).book
    (whole,) = given.parts
    by_engine = {step.name: done_alone(book, member_of(whole, step, book))[0].minutes for step in whole.steps}
    ours = standard_minutes(found.steps[part.pk], on=TODAY)
    names = {step.pk: str(step) for step in found.steps[part.pk]}
    assert {names[pk]: one.minutes for pk, one in ours.items()} == by_engine
    setups = 8 if capacity else 1  # 3 × 60 dm² at 25 dm² a load
    blast = next(one for pk, one in ours.items() if names[pk] == "Blast")
    assert blast.setup == Decimal("13.8") * setups
    assert blast.run == Decimal("134.55")


def test_pieces_split_off_take_their_share_of_the_run(shop: Workshop, bike: Restoration) -> None:
    part = bench_frame(bike, shop, pieces=4)
    blast, _spray = formed(part)
    new = split_part(part=part, pieces=1, **WHO)
    rows = Step.objects.filter(operation=shop.blast).select_related("part__size_class", "operation")
    ours = standard_minutes(rows, on=TODAY)
    assert [ours[row.pk].run for row in (blast, new.steps.get(operation=shop.blast))] == [90, 30]


def test_what_is_no_labour_or_has_no_time_is_not_in_it(shop: Workshop, bike: Restoration) -> None:
    lever = bench_frame(bike, shop, name="Lever", finish=shop.zinc, pieces=0)
    fit = add_step(part=lever, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    rows = lever.steps.select_related("part__size_class", "operation")
    assert standard_minutes(rows, on=TODAY) == {fit.pk: NOTHING}
    assert standard_minutes(rows, on=SINCE - timedelta(days=1)) == {}
