"""What is taken off and brought back is as it was: price, ways back and waits, exactly."""

import pytest
from django.core.exceptions import ValidationError

from quotes.pricing.selectors import priced
from shop.journal.models import Entry
from shop.restorations.services import remove_part
from shop.routes.models import Step, Wait
from shop.routes.parts import bring_back_routed_part, choose_finish
from shop.routes.selectors import scope
from shop.routes.services import (
    add_step,
    bring_back_step,
    change_step,
    move_step,
    remove_step,
    stop_waiting,
    wait_for,
)
from tests.workshop import WHO, draft, frame, restoration, workshop

pytestmark = pytest.mark.django_db


class Bike:
    """A frame in black, and a fork whose last step waits for the blasting and the spraying of the frame."""

    def __init__(self):
        self.shop = workshop()
        self.row = restoration()
        self.frame, self.fork = frame(self.row, self.shop), frame(self.row, self.shop, name="Fork")
        self.straighten = add_step(part=self.frame, origin=Step.Origin.BEFORE, operation=self.shop.fit, **WHO)
        self.blast, self.spray = self.frame.steps.filter(origin=Step.Origin.FINISH)
        self.fitted = add_step(part=self.fork, origin=Step.Origin.AFTER, operation=self.shop.fit, **WHO)
        for on in (self.blast, self.spray):
            wait_for(step=self.fitted, on=on, **WHO)
        self.draft = draft(self.row)

    def price(self):
        found = priced(self.draft)
        return found.explained.result.price, found.explained.result.cost

    def waits(self, step=None):
        """What a step waits for, as it is read."""
        found = scope(self.row)
        return [str(found.step_by_pk[wait.on_id]) for wait in found.waits.get((step or self.fitted).pk, ())]

    def kept(self):
        return set(Wait.objects.values_list("step", "on")), set(Step.objects.values_list("pk", "back_to", "position"))

    def way_back(self, step):
        found = scope(self.row)
        return str(found.way_back(found.step_by_pk[step.pk]))


@pytest.fixture
def bike():
    return Bike()


@pytest.mark.parametrize("name", ["straighten", "blast", "spray"])
def test_a_step_taken_off_and_brought_back_leaves_everything_as_it_was(bike, name):
    before = bike.price(), bike.kept(), bike.waits()
    step = getattr(bike, name)
    remove_step(step=step, **WHO)
    assert bike.price() != before[0]
    bring_back_step(step=step, **WHO)
    assert (bike.price(), bike.kept(), bike.waits()) == before


def test_steps_taken_off_together_come_back_in_any_order(bike):
    before = bike.price(), bike.kept(), bike.waits()
    for step in (bike.blast, bike.spray, bike.fitted):
        remove_step(step=step, **WHO)
    for step in (bike.blast, bike.fitted, bike.spray):
        bring_back_step(step=step, **WHO)
    assert (bike.price(), bike.kept(), bike.waits()) == before


def test_a_part_taken_out_and_brought_back_leaves_everything_as_it_was(bike):
    before = bike.price(), bike.kept(), bike.waits()
    remove_part(part=bike.frame, **WHO)
    assert bike.waits() == []
    bring_back_routed_part(part=bike.frame, **WHO)
    assert (bike.price(), bike.kept(), bike.waits()) == before


def test_while_a_step_is_off_the_one_before_it_stands_in_once(bike):
    assert (bike.way_back(bike.spray), bike.waits()) == ("Blast", ["Blast", "Spray"])
    remove_step(step=bike.blast, **WHO)
    assert (bike.way_back(bike.spray), bike.waits()) == ("Fit", ["Fit", "Spray"])
    remove_step(step=bike.spray, **WHO)
    assert bike.waits() == ["Fit"]
    remove_step(step=bike.straighten, **WHO)
    assert bike.waits() == []


def test_without_a_step_before_it_the_part_goes_back_to_the_step_itself(bike):
    remove_step(step=bike.straighten, **WHO)
    remove_step(step=bike.blast, **WHO)
    assert bike.way_back(bike.spray) == "Spray"


def test_no_finish_and_the_same_again_keeps_what_waited_and_what_it_waited_for(bike):
    wait_for(step=bike.spray, on=bike.fork.steps.get(operation=bike.shop.blast), **WHO)
    price = bike.price()
    choose_finish(part=bike.frame, finish=None, **WHO)
    assert bike.waits() == ["Fit"]
    choose_finish(part=bike.frame, finish=bike.shop.black, **WHO)
    spray = bike.frame.steps.get(operation=bike.shop.spray, removed_at__isnull=True)
    assert bike.waits() == ["Blast", "Spray"]
    assert bike.waits(spray) == ["Blast"]
    assert bike.way_back(spray) == "Blast"
    assert bike.price() == price


def test_a_way_back_into_the_old_finish_leads_into_the_new_one(bike):
    polish = add_step(part=bike.frame, origin=Step.Origin.AFTER, operation=bike.shop.fit, fail_chance=5, **WHO)
    change_step(step=polish, changes={"back_to": bike.spray}, **WHO)
    choose_finish(part=bike.frame, finish=bike.shop.green, **WHO)
    assert bike.way_back(polish) == "Spray"
    choose_finish(part=bike.frame, finish=None, **WHO)
    assert bike.way_back(polish) == "Fit"
    choose_finish(part=bike.frame, finish=bike.shop.zinc, **WHO)
    assert bike.way_back(polish) == "Zinc plate"


def test_what_waited_for_a_step_that_is_off_waits_for_the_new_finish_too(bike):
    remove_step(step=bike.spray, **WHO)
    remove_step(step=bike.blast, **WHO)
    choose_finish(part=bike.frame, finish=bike.shop.zinc, **WHO)
    assert bike.waits() == ["Zinc plate"]


def test_a_step_whose_place_is_taken_comes_back_right_after_what_took_it(bike):
    first = add_step(part=bike.frame, origin=Step.Origin.BEFORE, operation=bike.shop.strip, **WHO)
    remove_step(step=first, **WHO)
    for operation in (bike.shop.blast, bike.shop.spray):
        add_step(part=bike.frame, origin=Step.Origin.BEFORE, operation=operation, **WHO)
    bring_back_step(step=first, **WHO)
    live = bike.frame.steps.filter(removed_at__isnull=True, origin=Step.Origin.BEFORE).order_by("position")
    assert [str(step) for step in live] == ["Fit", "Blast", "Strip a coat", "Spray"]


def test_a_way_back_that_would_lead_forward_by_now_is_dropped(bike):
    one, two, three = (
        add_step(part=bike.fork, origin=Step.Origin.BEFORE, operation=operation, **WHO)
        for operation in (bike.shop.fit, bike.shop.strip, bike.shop.fit)
    )
    change_step(step=two, changes={"back_to": one}, **WHO)
    remove_step(step=two, **WHO)
    move_step(step=one, earlier=False, **WHO)
    bring_back_step(step=two, **WHO)
    two.refresh_from_db()
    assert two.back_to is None
    assert three.pk


@pytest.mark.parametrize("what", ["step on", "step off", "part in", "part out", "wait"])
def test_what_is_so_already_changes_nothing(bike, what):
    wait = Wait.objects.filter(step=bike.fitted).first()
    stale = Wait.objects.get(pk=wait.pk)
    stop_waiting(wait=wait, **WHO)
    remove_step(step=bike.straighten, **WHO)
    remove_part(part=bike.fork, **WHO) if what == "part out" else None
    bike.row.refresh_from_db()
    before = bike.row.scope_version, Entry.objects.count()
    {
        "step on": lambda: bring_back_step(step=bike.blast, **WHO),
        "step off": lambda: remove_step(step=bike.straighten, **WHO),
        "part in": lambda: bring_back_routed_part(part=bike.frame, **WHO),
        "part out": lambda: remove_part(part=bike.fork, **WHO),
        "wait": lambda: stop_waiting(wait=stale, **WHO),
    }[what]()
    bike.row.refresh_from_db()
    assert (bike.row.scope_version, Entry.objects.count()) == before


def test_bringing_a_step_back_cannot_close_a_circle_of_waits(bike):
    other = add_step(part=bike.fork, origin=Step.Origin.AFTER, operation=bike.shop.strip, **WHO)
    remove_step(step=bike.fitted, **WHO)
    wait_for(step=bike.straighten, on=other, **WHO)
    with pytest.raises(ValidationError, match="in a circle") as refusal:
        bring_back_step(step=bike.fitted, **WHO)
    assert "Frame" in refusal.value.messages[0]
    assert Step.objects.get(pk=bike.fitted.pk).removed_at is not None


def test_bringing_a_part_back_cannot_close_a_circle_of_waits(bike):
    tank = frame(bike.row, bike.shop, name="Tank")
    filled = add_step(part=tank, origin=Step.Origin.AFTER, operation=bike.shop.fit, **WHO)
    wait_for(step=filled, on=bike.fitted, **WHO)
    remove_part(part=bike.fork, **WHO)
    wait_for(step=bike.straighten, on=filled, **WHO)
    with pytest.raises(ValidationError, match="in a circle"):
        bring_back_routed_part(part=bike.fork, **WHO)
    bike.fork.refresh_from_db()
    assert bike.fork.removed_at is not None


def test_moving_a_step_cannot_close_a_circle_of_waits(bike):
    late = add_step(part=bike.frame, origin=Step.Origin.BEFORE, operation=bike.shop.strip, **WHO)
    first = bike.fork.steps.get(operation=bike.shop.blast)
    wait_for(step=first, on=bike.straighten, **WHO)
    wait_for(step=late, on=first, **WHO)
    before = bike.kept()
    with pytest.raises(ValidationError, match="in a circle"):
        move_step(step=late, earlier=True, **WHO)
    assert bike.kept() == before


def test_a_finish_cannot_close_a_circle_of_waits(bike):
    early = add_step(part=bike.fork, origin=Step.Origin.BEFORE, operation=bike.shop.fit, **WHO)
    wait_for(step=early, on=bike.straighten, **WHO)
    wait_for(step=bike.blast, on=early, **WHO)
    choose_finish(part=bike.frame, finish=None, **WHO)
    last = add_step(part=bike.frame, origin=Step.Origin.AFTER, operation=bike.shop.strip, **WHO)
    wait_for(step=early, on=last, **WHO)
    with pytest.raises(ValidationError, match="in a circle"):
        choose_finish(part=bike.frame, finish=bike.shop.black, **WHO)
    bike.frame.refresh_from_db()
    assert bike.frame.agreed_finish is None


def test_a_page_that_was_opened_before_moves_the_step_from_where_it_is_now(bike):
    last = add_step(part=bike.frame, origin=Step.Origin.BEFORE, operation=bike.shop.strip, **WHO)
    third = add_step(part=bike.frame, origin=Step.Origin.BEFORE, operation=bike.shop.blast, **WHO)
    stale = Step.objects.get(pk=third.pk)
    move_step(step=third, earlier=True, **WHO)
    move_step(step=stale, earlier=True, **WHO)
    live = bike.frame.steps.filter(removed_at__isnull=True, origin=Step.Origin.BEFORE).order_by("position")
    assert [step.pk for step in live] == [third.pk, bike.straighten.pk, last.pk]


def test_a_step_that_somebody_took_off_meanwhile_does_not_move(bike):
    stale = Step.objects.get(pk=bike.spray.pk)
    remove_step(step=bike.spray, **WHO)
    with pytest.raises(ValidationError, match="This step is off the route"):
        move_step(step=stale, earlier=True, **WHO)


def test_a_step_brought_back_from_an_old_page_keeps_clear_of_what_moved_there(bike):
    stale = Step.objects.get(pk=bike.straighten.pk)
    remove_step(step=bike.straighten, **WHO)
    add_step(part=bike.frame, origin=Step.Origin.BEFORE, operation=bike.shop.strip, **WHO)
    bring_back_step(step=stale, **WHO)
    live = bike.frame.steps.filter(removed_at__isnull=True).values_list("position", flat=True)
    assert len(set(live)) == 4
