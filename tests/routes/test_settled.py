"""What the plan takes as done or out, from the rows of steps that are done and away. The 2nd of March 2026 is a Monday."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from quotes.engine.inputs import Settled
from shop.methods.models import VendorClosure
from shop.people.models import Closure
from shop.restorations.models import Restoration
from shop.routes.again import again
from shop.routes.finishing import finish_step, undo_done
from shop.routes.models import Plan, PlannedStep, Step
from shop.routes.schedules import load_before, schedule
from shop.routes.selectors import scope
from shop.routes.splitting import split_part
from tests.at_the_bench import agreed, bench_frame, steps_of
from tests.planned import agree_to, bought, fitted, kept, lever, planning_workshop
from tests.routes.aways import back, out
from tests.workshop import TODAY, WHO, Workshop, frame, restoration, workshop

pytestmark = pytest.mark.django_db
DUE = date(2026, 3, 12)


@pytest.fixture
def shop() -> Workshop:
    return planning_workshop(workshop())


@pytest.fixture
def bike(shop: Workshop) -> Restoration:
    return restoration()


def told(of: Restoration) -> dict[str, str]:
    return {one.step: one.back for one in schedule(scope(of), today=TODAY).settled}


def test_a_step_is_done_until_that_is_taken_back_or_it_goes_round_again(shop: Workshop, bike: Restoration) -> None:
    blast, spray = agreed(bench_frame(bike, shop))
    assert told(bike) == {}
    finish_step(step=blast, **WHO)
    assert told(bike) == {str(blast.uid): ""}
    undo_done(step=blast, **WHO)
    assert told(bike) == {}
    finish_step(step=blast, **WHO)
    finish_step(step=spray, **WHO)
    again(step=spray, back_to=spray, remedies=[], **WHO)
    assert told(bike) == {str(blast.uid): ""}


def test_what_is_out_is_so_until_the_day_we_were_told_last(shop: Workshop, bike: Restoration) -> None:
    plate = lever(bike, shop).steps.get(service=shop.plate)
    row = out(plate, DUE)
    assert schedule(scope(bike), today=TODAY).settled == (Settled(str(plate.uid), "2026-03-12"),)
    row.due_on = DUE + timedelta(days=7)
    row.save()
    assert told(bike) == {str(plate.uid): "2026-03-19"}
    back(row)
    assert told(bike) == {}


def test_what_was_lost_is_to_be_done_in_full(shop: Workshop, bike: Restoration) -> None:
    out(lever(bike, shop).steps.get(service=shop.plate), lost=True)
    assert told(bike) == {}


def test_where_nobody_told_a_day_it_is_the_lead_time_on_the_vendors_days_and_the_road(
    shop: Workshop, bike: Restoration
) -> None:
    """By hand: left Monday 23 February, there on the 24th, ten of their days, Tuesday to Thursday but for the 5th of March:
    25, 26 February, 3, 4, 10, 11, 12, 17, 18, 19 March. The shop is shut on the 20th: here on Monday the 23rd.
    """
    plater = shop.plate.vendor
    plater.works_on, plater.transport_days = "234", 1
    plater.save()
    VendorClosure.objects.create(vendor=plater, first=date(2026, 3, 5), last=date(2026, 3, 5))
    Closure.objects.create(first=date(2026, 3, 20), last=date(2026, 3, 20))
    plate = lever(bike, shop).steps.get(service=shop.plate)
    out(plate, since=date(2026, 2, 23))
    assert told(bike) == {str(plate.uid): "2026-03-23"}


def test_where_nobody_told_a_day_an_order_comes_after_its_working_days(shop: Workshop, bike: Restoration) -> None:
    """By hand: fifteen working days from Wednesday 25 February on are three weeks."""
    seal = bought(bench_frame(bike, shop))
    out(seal, since=date(2026, 2, 25), where="Old Stock Ltd")
    assert told(bike) == {str(seal.uid): "2026-03-18"}


# -- parts that were split --------------------------------------------------------------------------------------------------


def split_lever(bike: Restoration, shop: Workshop) -> tuple[Step, Step]:
    """The plating of a lever of three pieces, and of the one piece of it that went its own way."""
    part = bench_frame(bike, shop, name="Lever", finish=shop.zinc, pieces=3, weight=1, strength=400)
    agreed(part)
    new = split_part(part=part, pieces=1, **WHO)
    return part.steps.get(service=shop.plate), new.steps.get(service=shop.plate)


def test_a_split_part_is_done_when_all_its_pieces_are(shop: Workshop, bike: Restoration) -> None:
    whole, piece = split_lever(bike, shop)
    finish_step(step=whole, **WHO)
    assert told(bike) == {}
    finish_step(step=piece, **WHO)
    assert told(bike) == {str(whole.uid): ""}


def test_a_split_part_is_out_until_the_last_of_its_pieces_is_back(shop: Workshop, bike: Restoration) -> None:
    whole, piece = split_lever(bike, shop)
    row = out(whole, DUE)
    assert told(bike) == {}  # one piece is still here
    late = out(piece, DUE + timedelta(days=5))
    assert told(bike) == {str(whole.uid): "2026-03-17"}
    back(row)
    finish_step(step=whole, **WHO)
    assert told(bike) == {str(whole.uid): "2026-03-17"}
    late.lost = True
    late.save()
    assert told(bike) == {}


# -- what the plan makes of it ----------------------------------------------------------------------------------------------


def planned(step: Step) -> PlannedStep:
    return PlannedStep.objects.get(step=step)


def test_the_plan_waits_for_what_is_out_and_leaves_out_what_is_done(shop: Workshop, bike: Restoration) -> None:
    """By hand: the levers are told for Thursday 12 March and fitted on Friday; planned from the start they take a week more."""
    plated = lever(bike, shop)
    fit = fitted(plated, shop)
    blast, spray = steps_of(bench_frame(bike, shop))
    agree_to(*steps_of(plated), blast, spray)
    plate = plated.steps.get(service=shop.plate)
    first = kept(bike)
    assert (first.ready_certain, planned(plate).leave_by) == (date(2026, 3, 17), date(2026, 3, 2))
    finish_step(step=blast, **WHO)
    out(plate, DUE)
    then = kept(bike)
    row, done = planned(plate), planned(blast)
    assert then.ready_certain == date(2026, 3, 13)
    assert (row.leave_by, row.back_by, row.drives) == (None, DUE, True)
    assert (done.leave_by, done.back_by, done.minutes, done.taken, done.drives) == (None, None, 0, 0, False)
    assert planned(fit).earliest_start.date() == date(2026, 3, 13)
    assert planned(spray).minutes == 54


def test_what_is_on_order_has_a_day_to_be_here_by_and_none_to_order(shop: Workshop, bike: Restoration) -> None:
    seal = bought(bench_frame(bike, shop))
    out(seal, DUE, where="Old Stock Ltd")
    kept(bike)
    assert (planned(seal).leave_by, planned(seal).back_by) == (None, DUE)


def test_what_is_done_on_another_bike_is_no_load_any_more(shop: Workshop, bike: Restoration) -> None:
    other = restoration("Plover 125")
    Restoration.objects.filter(pk=other.pk).update(begun_on=date(2026, 2, 2))
    other.refresh_from_db()
    blast, _spray = agreed(bench_frame(other, shop))
    kept(other)
    before = dict(load_before(bike, first=TODAY))
    assert "Cabinet" in before
    finish_step(step=blast, **WHO)
    kept(other)
    assert dict(load_before(bike, first=TODAY)) == {"": before[""] - before["Cabinet"]}


def test_the_plan_rests_on_what_is_done_and_out(shop: Workshop, bike: Restoration) -> None:
    plated = lever(bike, shop)
    seen = [kept(bike).rests_on]
    row = out(plated.steps.get(service=shop.plate), DUE)
    seen.append(kept(bike).rests_on)
    row.due_on = DUE + timedelta(days=1)
    row.save()
    seen.append(kept(bike).rests_on)
    assert len(set(seen)) == 3
    assert Plan.objects.count() == 1


@pytest.mark.parametrize("due_on", [DUE, None])
def test_one_step_out_and_many_take_as_many_queries(shop: Workshop, bike: Restoration, due_on: date | None) -> None:
    def asked() -> int:
        found = scope(bike)
        with CaptureQueriesContext(connection) as caught:
            assert schedule(found, today=TODAY).settled
        return len(caught)

    def furnished(number: int) -> None:
        blast, _spray = agreed(bench_frame(bike, shop, name=f"Frame {number}"))
        finish_step(step=blast, **WHO)
        out(lever(bike, shop, name=f"Lever {number}").steps.get(service=shop.plate), due_on)
        out(bought(frame(bike, shop, name=f"Fork {number}")), due_on)

    furnished(0)
    few = asked()
    for number in range(1, 6):
        furnished(number)
    assert asked() == few
