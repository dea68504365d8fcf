"""Tasks: formed by batch or area, put together anew by hand; work done again in a task of its own."""

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from shop.journal.models import Entry
from shop.restorations.models import Part, Restoration
from shop.restorations.services import ChangedMeanwhileError
from shop.routes import presence
from shop.routes.again import again, ways_back
from shop.routes.finishing import finish_remedy, finish_step, undo_remedy
from shop.routes.models import Done, Remedy, Step, Task, TaskStep
from shop.routes.progress import Cause, look, states
from shop.routes.services import add_step
from shop.routes.tasks import close_task, form_tasks, indirect_task, make_task, mend, move_lines, rename, set_alone
from tests.at_the_bench import agreed, bench_frame, steps_of
from tests.planned import agree_to
from tests.workshop import NOW, WHO, Workshop, restoration, workshop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Workshop:
    return workshop()


@pytest.fixture
def bike() -> Restoration:
    return restoration()


def task_of(step: Step) -> Task:
    return TaskStep.objects.get(step=step, visit=step.visit).task


def line_of(step: Step) -> TaskStep:
    return TaskStep.objects.select_related("task", "step__part").get(step=step, visit=step.visit)


def formed(*parts: Part) -> list[list[Step]]:
    found = [agreed(part) for part in parts]
    for part in parts:
        form_tasks(restoration=part.restoration, now=NOW)
    return found


# -- forming ----------------------------------------------------------------------------------------------------------


def test_only_authorised_labour_is_put_into_tasks_and_each_step_once(shop: Workshop, bike: Restoration) -> None:
    lever = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    blast, spray = steps_of(bench_frame(bike, shop))
    agree_to(blast, *steps_of(lever))
    assert form_tasks(restoration=bike, now=NOW) == 1
    assert form_tasks(restoration=bike, now=NOW) == 0
    assert list(TaskStep.objects.values_list("step", flat=True)) == [blast.pk]
    assert not TaskStep.objects.filter(step=spray).exists()


def test_parts_share_a_task_where_they_share_the_set_up_and_another_finish_has_its_own(
    shop: Workshop, bike: Restoration
) -> None:
    parts = [bench_frame(bike, shop), bench_frame(bike, shop, name="Tank")]
    green = bench_frame(bike, shop, name="Guard", finish=shop.green)
    (one_blast, one_spray), (two_blast, two_spray), (_blast, green_spray) = formed(*parts, green)
    assert task_of(one_blast) == task_of(two_blast)
    assert task_of(one_spray) == task_of(two_spray) != task_of(green_spray)
    assert {task.name for task in Task.objects.all()} == {
        "Blast, Black", "Blast, Green", "Spray, Black", "Spray, Green"
    }  # fmt: skip


def test_what_shares_no_set_up_goes_by_the_area_of_the_bike(shop: Workshop, bike: Restoration) -> None:
    shop.blast.shares_setup = False
    shop.blast.save()
    frame, yoke = bench_frame(bike, shop), bench_frame(bike, shop, name="Yoke", area_name="Forks")
    stay = bench_frame(bike, shop, name="Stay")
    (one, _1), (two, _2), (three, _3) = formed(frame, yoke, stay)
    assert task_of(one) == task_of(three) != task_of(two)
    assert [task_of(one).name, task_of(two).area_name] == ["Frame: Blast", "Forks"]


def test_the_second_time_on_a_route_and_another_bike_are_tasks_of_their_own(shop: Workshop, bike: Restoration) -> None:
    part, other = bench_frame(bike, shop), bench_frame(restoration("Wren"), shop)
    for _time in range(2):
        add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    add_step(part=other, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    (*_, first, second), (*_, elsewhere) = formed(part, other)
    tasks = [task_of(first), task_of(second), task_of(elsewhere)]
    assert len({task.pk for task in tasks}) == 3
    assert tasks[1].name == "Fit, time 2 on the route"


def test_what_is_agreed_later_joins_the_open_task(shop: Workshop, bike: Restoration) -> None:
    ((blast, _spray),) = formed(bench_frame(bike, shop))
    ((later, _),) = formed(bench_frame(bike, shop, name="Tank"))
    assert task_of(later) == task_of(blast)


def test_the_sweep_forms_what_is_missing_and_the_tasks_for_no_bike_once(shop: Workshop, bike: Restoration) -> None:
    blast, spray = agreed(bench_frame(bike, shop))
    mend(now=NOW)
    before = set(Task.objects.values_list("pk", flat=True))
    assert {task_of(blast).restoration, task_of(spray).restoration} == {bike}
    assert Task.objects.filter(kind=Task.Kind.INDIRECT).count() == 5
    close_task(task=Task.objects.filter(kind=Task.Kind.INDIRECT)[0], **WHO)
    mend(now=NOW)
    assert set(Task.objects.values_list("pk", flat=True)) == before


def test_the_database_refuses_a_task_of_what_nobody_agreed_to(shop: Workshop, bike: Restoration) -> None:
    blast, _spray = steps_of(bench_frame(bike, shop))
    task = indirect_task(name="Anything", **WHO)
    with pytest.raises(DatabaseError), transaction.atomic():
        TaskStep.objects.create(task=task, step=blast)


# -- by hand ------------------------------------------------------------------------------------------------------------


def test_steps_of_several_bikes_make_one_task(shop: Workshop, bike: Restoration) -> None:
    other = restoration("Wren")
    (one, _1), (two, _2) = formed(bench_frame(bike, shop), bench_frame(other, shop))
    task = make_task(name=" Blasting day ", lines=[line_of(one), line_of(two)], alone=True, **WHO)
    task.refresh_from_db()
    assert (task.name, task.restoration, task.alone, task.by_hand) == ("Blasting day", None, True, True)
    assert {task_of(one), task_of(two)} == {task}
    assert form_tasks(restoration=bike, now=NOW) == 0
    assert Entry.objects.filter(what="steps moved to a task").count() == 1


def test_a_step_that_somebody_else_moved_meanwhile_is_not_moved(shop: Workshop, bike: Restoration) -> None:
    ((blast, spray),) = formed(bench_frame(bike, shop))
    seen = [line_of(spray), line_of(blast)]
    elsewhere = make_task(name="Elsewhere", lines=[line_of(blast)], **WHO)
    with pytest.raises(ValidationError) as caught, transaction.atomic():
        make_task(name="Mine", lines=seen, **WHO)
    assert caught.value.code == "moved meanwhile"
    assert task_of(blast) == elsewhere
    assert task_of(spray).name == "Spray, Black"


def test_the_last_step_stays_in_a_task_that_has_time_on_it(
    shop: Workshop, bike: Restoration, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was worked would be for no step, and its minutes for nothing that anybody priced."""
    (one, _spray), (other, _its) = formed(bench_frame(bike, shop), bench_frame(bike, shop, name="Tank"))
    task = task_of(one)
    assert task_of(other) == task
    monkeypatch.setattr(presence, "_timed", lambda tasks: {task.pk} & set(tasks))
    make_task(name="Elsewhere", lines=[line_of(one)], **WHO)
    with pytest.raises(ValidationError) as caught, transaction.atomic():
        make_task(name="Mine", lines=[line_of(other)], **WHO)
    assert caught.value.code == "time on it"
    assert "has time on it" in caught.value.messages[0]
    monkeypatch.setattr(presence, "_timed", None)
    make_task(name="Mine", lines=[line_of(other)], **WHO)
    assert not task.lines.exists()


def test_what_is_done_stays_where_it_was_done(shop: Workshop, bike: Restoration) -> None:
    ((blast, spray),) = formed(bench_frame(bike, shop))
    finish_step(step=blast, **WHO)
    with pytest.raises(ValidationError) as caught:
        move_lines(lines=[line_of(blast)], to=task_of(spray), **WHO)
    assert caught.value.code == "done"


def test_a_task_is_renamed_and_taken_alone_only_from_what_was_seen(shop: Workshop, bike: Restoration) -> None:
    ((blast, _spray),) = formed(bench_frame(bike, shop))
    rename(task=task_of(blast), name="Cabinet", seen="Blast, Black", **WHO)
    with pytest.raises(ChangedMeanwhileError) as caught:
        rename(task=task_of(blast), name="Other", seen="Blast, Black", **WHO)
    assert caught.value.now == "Cabinet"
    with pytest.raises(ValidationError):
        rename(task=task_of(blast), name="  ", seen="Cabinet", **WHO)
    set_alone(task=task_of(blast), alone=True, seen=False, **WHO)
    assert task_of(blast).alone
    assert Entry.objects.filter(what="task changed").count() == 2


def test_a_task_with_something_to_do_or_somebody_on_it_is_not_closed(
    shop: Workshop, bike: Restoration, monkeypatch: pytest.MonkeyPatch
) -> None:
    ((blast, _spray),) = formed(bench_frame(bike, shop))
    task = task_of(blast)
    with pytest.raises(ValidationError) as caught:
        close_task(task=task, **WHO)
    assert caught.value.code == "not done"
    finish_step(step=blast, **WHO)
    monkeypatch.setattr(presence, "_read", lambda: {task.pk: {7}})
    with pytest.raises(ValidationError) as caught:
        close_task(task=task, **WHO)
    assert caught.value.code == "somebody on it"
    monkeypatch.setattr(presence, "_read", None)
    assert close_task(task=task, **WHO).closed_at == NOW


# -- again --------------------------------------------------------------------------------------------------------------


@pytest.fixture
def sprayed(shop: Workshop, bike: Restoration) -> list[Step]:
    """Blasted and sprayed, fitting to come."""
    part = bench_frame(bike, shop)
    add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    (steps,) = formed(part)
    for step in steps[:2]:
        finish_step(step=step, **WHO)
    return steps


def test_again_opens_the_steps_between_anew_in_one_task_and_keeps_what_was_done(
    shop: Workshop, bike: Restoration, sprayed: list[Step]
) -> None:
    blast, spray, fit = sprayed
    task = again(step=spray, back_to=blast, remedies=[shop.strip], **WHO)
    assert (task.kind, task.origin_uid, task.restoration) == (Task.Kind.REWORK, spray.uid, bike)
    assert [(line.step, line.visit) for line in task.lines.order_by("pk")] == [(blast, 2), (spray, 2)]
    assert list(Step.objects.order_by("position").values_list("visit", flat=True)) == [2, 2, 1]
    assert Done.objects.filter(visit=1, undone_at=None).count() == 2
    found = states([bike], now=NOW)
    assert [one.cause for one in found[blast.pk].why] == [Cause.REMEDY]
    assert [one.step for one in found[fit.pk].why if one.step] == [spray]
    assert form_tasks(restoration=bike, now=NOW) == 0


def test_what_has_to_come_off_comes_first(shop: Workshop, bike: Restoration, sprayed: list[Step]) -> None:
    blast, spray, _fit = sprayed
    again(step=spray, back_to=spray, remedies=[shop.strip], **WHO)
    remedy = Remedy.objects.select_related("task").get()
    with pytest.raises(ValidationError):
        finish_step(step=spray, **WHO)
    assert finish_remedy(remedy=remedy, **WHO) == [spray]
    assert finish_remedy(remedy=remedy, **WHO) == []
    undo_remedy(remedy=remedy, **WHO)
    assert not states([bike], now=NOW)[spray.pk].is_ready
    finish_remedy(remedy=remedy, **WHO)
    finish_step(step=spray, **WHO)
    with pytest.raises(ValidationError):
        undo_remedy(remedy=remedy, **WHO)
    assert states([bike], now=NOW)[blast.pk].is_done


def test_only_what_is_done_or_has_its_turn_is_done_again_and_only_backwards(
    shop: Workshop, bike: Restoration, sprayed: list[Step]
) -> None:
    blast, spray, fit = sprayed
    with pytest.raises(ValidationError) as caught:
        again(step=blast, back_to=spray, remedies=[], **WHO)
    assert "back_to" in caught.value.error_dict
    again(step=fit, back_to=spray, remedies=[], **WHO)
    with pytest.raises(ValidationError) as caught:
        again(step=fit, back_to=spray, remedies=[], **WHO)
    assert caught.value.code == "not reached"
    assert ways_back(look({bike.pk}, now=NOW), spray) == [blast, spray]


def test_vendor_work_in_between_has_to_go_out_again_and_what_was_bought_is_here(
    shop: Workshop, bike: Restoration
) -> None:
    part = bench_frame(bike, shop, name="Lever", finish=shop.zinc)
    polish = add_step(part=part, origin=Step.Origin.BEFORE, operation=shop.blast, **WHO)
    seal = add_step(part=part, origin=Step.Origin.AFTER, buy="Seal", buy_source="used", **WHO)
    fit = add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **WHO)
    (steps,) = formed(part)
    for step in steps:
        finish_step(step=step, **WHO)
    task = again(step=fit, back_to=polish, remedies=[shop.plate], **WHO)
    assert [line.step for line in task.lines.order_by("step__position")] == [polish, fit]
    found = states([bike], now=NOW)
    plate = part.steps.get(service=shop.plate)
    assert [found[step.pk].is_done for step in (polish, plate, seal, fit)] == [False, False, True, False]


def test_rework_stays_in_its_task(shop: Workshop, bike: Restoration, sprayed: list[Step]) -> None:
    blast, spray, fit = sprayed
    rework = again(step=spray, back_to=blast, remedies=[], **WHO)
    blast.refresh_from_db()
    for line, to in ((line_of(blast), task_of(fit)), (line_of(fit), rework)):
        with pytest.raises(ValidationError) as caught:
            move_lines(lines=[line], to=to, **WHO)
        assert caught.value.code == "kept together"
    assert rework.lines.count() == 2
