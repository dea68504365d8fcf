"""A plan of what is left: steps that are done, lots that are out, what is on order.

Against the plain walk on any small restoration, and by examples a shop can follow on a wall calendar: March 2026, the 2nd is a
Monday. The shop works from eight to five, Monday to Friday.
"""

from dataclasses import replace
from decimal import Decimal
from random import Random
from typing import Any

import pytest
from hypothesis import given

from quotes.engine.calendars import day_text, instant_of
from quotes.engine.canonical import dump, load
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Held, Restoration, Schedule, Settled, Work
from quotes.engine.network import network
from quotes.engine.planned import Bound, Plan, SetBy
from quotes.engine.rollup import price
from tests.engine.build import operation, part, purchase, restoration, service, step
from tests.engine.days import by_uid, calendar, plan_of, planned, schedule
from tests.engine.strategies import seeds
from tests.engine.test_plan import alone, made, plain

D = Decimal
LOT, BUY = Work.SERVICE, Work.PURCHASE


def settle(given_restoration: Restoration, *settled: Settled) -> Restoration:
    """The same with ``settled`` more of it done or out."""
    when = given_restoration.schedule
    assert when is not None
    return replace(given_restoration, schedule=replace(when, settled=(*when.settled, *settled)))


def uids(given_restoration: Restoration) -> list[str]:
    return [one.uid for item in given_restoration.parts for one in item.steps]


# -- against the plain walk ------------------------------------------------------------------------------------------


@given(seeds)
def test_what_is_left_ends_when_a_plain_walk_says(seed: int) -> None:
    given_restoration = made(seed, settled=True)
    plan_made, walk = alone(given_restoration), plain(given_restoration)
    ends = walk.ends()
    assert {s.uid: walk.bike.at(s.early_finish) for s in plan_made.steps} == ends
    assert walk.bike.day(plan_made.ready) == walk.ready_day(ends)
    for told in plan_made.steps:
        assert told.slack == sum(walk.bike.open[walk.bike.at(told.early_start) : walk.bike.at(told.late_start)])


@given(seeds)
def test_everything_left_begun_and_back_at_its_latest_still_keeps_the_ready_day(seed: int) -> None:
    given_restoration = made(seed, settled=True)
    plan_made, walk = alone(given_restoration), plain(given_restoration)
    begins = {s.uid: walk.bike.at(s.late_start) for s in plan_made.steps}
    ends = {uid: walk.end_of(uid, begin) for uid, begin in begins.items()}
    assert all(ends[pred] <= begins[uid] for uid, preds in walk.before.items() for pred in preds)
    assert {s.uid: walk.bike.at(s.late_finish) for s in plan_made.steps} == ends
    assert walk.ready_day(ends) == walk.bike.day(plan_made.ready)


@given(seeds)
def test_what_is_out_is_told_with_the_last_day_on_which_it_may_come(seed: int) -> None:
    """Told for that day it keeps the ready day, for the next working day it does not."""
    given_restoration = made(seed, settled=True)
    plan_made, walk = alone(given_restoration), plain(given_restoration)
    out = {uid for uid, back in walk.settled.items() if back and walk.has_work(*walk.steps[uid])}
    told = {one.steps[0]: (one.back, one.must_be_back) for one in plan_made.lots if one.is_out}
    told |= {one.step: (one.there, one.needed) for one in plan_made.orders if one.is_ordered}
    assert told.keys() == out
    for uid, (back, must) in told.items():
        assert walk.shop.works_on(walk.shop.day(back))
        assert back == day_text(instant_of(by_uid(plan_made)[uid].early_finish) // 1440) or walk.before[uid]
        for day, keeps in ((must, True), (day_text(instant_of(f"{must}T00:00") // 1440 + 1), False)):
            walk.settled[uid] = day
            assert (walk.ready_day(walk.ends()) <= walk.bike.day(plan_made.ready)) == keeps
        walk.settled[uid] = back


@given(seeds)
def test_done_and_out_things_have_no_day_to_leave(seed: int) -> None:
    given_restoration = made(seed, settled=True)
    plan_made = planned(given_restoration)
    assert given_restoration.schedule is not None
    settled = {item.step for item in given_restoration.schedule.settled}
    assert not settled & {uid for lot in plan_made.lots if not lot.is_out for uid in lot.steps}
    assert not settled & {order.step for order in plan_made.orders if not order.is_ordered}
    done = {item.step for item in given_restoration.schedule.settled if not item.back}
    assert not done & {*plan_made.chain, *(one for told in plan_made.steps for one in told.drivers)}
    assert not done & {uid for lot in plan_made.lots for uid in lot.steps}
    assert load(Plan, dump(plan_made)) == plan_made


@given(seeds)
def test_settling_one_step_more_never_makes_the_bike_later(seed: int) -> None:
    """Done, or out and told for no later than it was planned: from the same start, batches and all."""
    given_restoration = made(seed)
    by = Random(seed)
    before = planned(given_restoration)
    for uid in by.sample(uids(given_restoration), len(before.steps)):
        ends = by_uid(before)[uid].early_finish
        back = ends[:10] if ends.endswith("T17:00") and by.random() < 0.5 else ""
        given_restoration = settle(given_restoration, Settled(uid, back))
        after = planned(given_restoration)
        assert (after.ready, after.path_ends) <= (before.ready, before.path_ends)
        before = after


@given(seeds)
def test_with_everything_settled_it_is_ready_on_the_first_day(seed: int) -> None:
    given_restoration = made(seed)
    nothing_left = settle(given_restoration, *(Settled(uid) for uid in uids(given_restoration)))
    plan_made = planned(nothing_left)
    assert plan_made.ready == plan_made.starts[:10]
    assert (plan_made.path_ends, plan_made.bound) == (plan_made.starts, Bound.PATH)
    assert (plan_made.chain, plan_made.lots, plan_made.orders, plan_made.floors) == ((), (), (), ())
    overdue = settle(given_restoration, *(Settled(uid, "2026-01-05") for uid in uids(given_restoration)))
    assert planned(overdue).ready == plan_made.starts[:10]


@given(seeds)
def test_the_rest_of_a_batch_is_one_node_with_its_own_minutes(seed: int) -> None:
    given_restoration = made(seed, settled=True)
    explained = price(given_restoration)
    given_schedule = given_restoration.schedule
    assert given_schedule is not None
    settled = {item.step: item.back for item in given_schedule.settled}
    minutes = {item.uid: item.first.minutes for item in explained.steps}
    found = network(given_restoration, explained.steps, explained.batches)
    rest = {tuple(uid for uid in sorted(batch) if uid not in settled) for batch in explained.batches} - {()}
    assert {node.uids for node in found.nodes if not node.is_settled} == rest
    for node in found.nodes:
        if node.is_settled:
            assert (node.minutes, node.taken, {bool(settled[uid]) for uid in node.uids}) == (0, 0, {not node.done})
        else:
            assert abs(node.minutes - sum(minutes[uid] for uid in node.uids)) <= D("0.5")


# -- by example ------------------------------------------------------------------------------------------------------


def plated(*settled: Settled, **changes: Any) -> Plan:
    """Bolts go to the plater, who works from Monday to Wednesday, and are fitted; the frame is welded for three days."""
    zinc = service("zinc", handling=D(60), handling_grade="mechanic", lead_days=5, transport_days=1, calendar="plater")
    bolts = part("bolts", step("sort"), step("zinc", "zinc", LOT), step("fit"))
    frame = part("frame", step("weld", "long"))
    when: Schedule = schedule(calendar("plater", ((0, 480, 960), (1, 480, 960), (2, 480, 960))), **changes)
    works = (operation(), operation("long", run=D(540 * 3)))
    return plan_of(bolts, frame, services=(zinc,), operations=works, schedule=replace(when, settled=settled))


def test_a_lot_that_is_out_is_waited_for_until_the_day_it_is_told_for() -> None:
    """Told for Tuesday 10 March: fitted on Wednesday. By the plan it would have been out until the 17th."""
    assert plated().lots[0].back == "2026-03-17"
    made_plan = plated(Settled("sort"), Settled("zinc", "2026-03-10"))
    told = by_uid(made_plan)
    assert (told["zinc"].early_start, told["zinc"].early_finish) == ("2026-03-10T17:00", "2026-03-10T17:00")
    assert told["zinc"].set_by is SetBy.BACK
    assert (told["fit"].early_start, told["fit"].drivers) == ("2026-03-11T08:00", ("zinc",))
    assert made_plan.ready == "2026-03-11"
    assert made_plan.chain == ("zinc", "fit")
    (lot,) = made_plan.lots
    # Fitting takes a minute of Wednesday: on Tuesday at the latest.
    assert (lot.leaves, lot.must_leave, lot.back, lot.must_be_back) == ("", "", "2026-03-10", "2026-03-10")


def test_what_is_back_before_it_is_needed_has_until_then() -> None:
    """The frame is welded from Monday to Wednesday, so that the bolts may come until Tuesday and are told for Monday."""
    (lot,) = plated(Settled("sort"), Settled("zinc", "2026-03-02")).lots
    assert (lot.back, lot.must_be_back) == ("2026-03-02", "2026-03-03")


@pytest.mark.parametrize(
    ("back", "comes"),
    [
        ("2026-02-20", "2026-03-02"),  # overdue for ten days: today at the earliest
        ("2026-03-01", "2026-03-02"),  # a Sunday before the plan begins
        ("2026-03-07", "2026-03-09"),  # a Saturday to come: nobody is there to take it in
        ("2026-03-06", "2026-03-09"),  # a closed Friday
    ],
)
def test_a_day_that_has_passed_or_is_none_of_ours_counts_as_the_first_on_which_it_can_come(
    back: str, comes: str
) -> None:
    shut = calendar(closed=("2026-03-06",))
    (lot,) = plated(Settled("sort"), Settled("zinc", back), shop=shut).lots
    assert lot.back == comes


def test_held_days_stop_the_fitting_and_not_the_lot_that_is_out() -> None:
    held = (Held("2026-03-04", "2026-03-06", "waiting for money"),)
    told = by_uid(plated(Settled("sort"), Settled("zinc", "2026-03-03"), held=held))
    assert told["zinc"].early_finish == "2026-03-03T17:00"
    assert (told["fit"].early_start, told["fit"].set_by) == ("2026-03-09T08:00", SetBy.HELD)


def test_the_vendors_calendar_is_not_asked_about_what_has_left() -> None:
    """Its holidays end long before the bike is ready: no reason not to plan."""
    zinc = service("zinc", lead_days=5, calendar="plater")
    bolts = part("bolts", step("zinc", "zinc", LOT))
    unknown = schedule(calendar("plater", known_until="2026-03-03"), settled=(Settled("zinc", "2026-03-20"),))
    assert plan_of(bolts, services=(zinc,), schedule=unknown).ready == "2026-03-20"


def test_what_is_on_order_comes_on_its_day_and_says_by_when_it_must() -> None:
    tyres, frame = part("tyres", step("buy", "tyre", BUY), step("mount")), part("frame", step("weld", "long"))
    works = (operation(), operation("long", run=D(540 * 3)))
    ordered = schedule(settled=(Settled("buy", "2026-03-02"),))
    made_plan = plan_of(tyres, frame, operations=works, purchases=(purchase("tyre", lead_days=30),), schedule=ordered)
    (order,) = made_plan.orders
    assert (order.ordered, order.order_by, order.there, order.needed) == ("", "", "2026-03-02", "2026-03-03")
    assert made_plan.ready == "2026-03-04"


def test_members_of_a_lot_that_are_back_on_other_days_do_not_wait_for_each_other() -> None:
    """Four levers at the plater's: two told for Tuesday, one for Friday; the fourth has not left and takes two days."""
    parts = [part(uid, step(f"{uid}1", "zinc", LOT), step(f"{uid}2", process=uid)) for uid in "abcd"]
    zinc = service("zinc", lead_days=2)
    out = (Settled("a1", "2026-03-03"), Settled("b1", "2026-03-06"), Settled("c1", "2026-03-03"))
    made_plan = plan_of(*parts, services=(zinc,), schedule=schedule(settled=out))
    assert [(lot.steps, lot.back) for lot in made_plan.lots] == [
        (("a1", "c1"), "2026-03-03"),
        (("b1",), "2026-03-06"),
        (("d1",), "2026-03-04"),
    ]
    starts = {uid: told.early_start[:10] for uid, told in by_uid(made_plan).items() if uid.endswith("2")}
    assert starts == {"a2": "2026-03-04", "b2": "2026-03-09", "c2": "2026-03-04", "d2": "2026-03-05"}


def test_the_rest_of_a_batch_pays_its_share_and_waits_for_nobody_who_is_done() -> None:
    """20 min set-up and 10 min each, by run time: a third of 50 min is left, 17 min, and nobody waits for the slow one."""
    slow = part("slow", step("a1", "long"), step("a2", "blast"))
    others = [part(uid, step(f"{uid}2", "blast")) for uid in "bc"]
    works = (operation(), operation("long", run=D(500)), operation("blast", setup=D(20), run=D(10)))
    told = by_uid(
        plan_of(
            slow, *others, operations=works, schedule=schedule(settled=(Settled("a1"), Settled("a2"), Settled("c2")))
        )
    )
    assert (told["b2"].early_start, told["b2"].early_finish) == ("2026-03-02T08:00", "2026-03-02T08:17")
    assert told["b2"].set_by is SetBy.START


def test_done_steps_of_one_batch_do_not_wait_for_what_is_open_before_another_of_them() -> None:
    """Both were blasted; a repair was put before the blasting of the frame since. The seat goes on at once."""
    frame = part("frame", step("repair", "long"), step("f2", "blast"), step("f3", process="frame"))
    seat = part("seat", step("s2", "blast"), step("s3", process="seat"))
    works = (operation(), operation("long", run=D(600)), operation("blast", run=D(10)))
    told = by_uid(plan_of(frame, seat, operations=works, schedule=schedule(settled=(Settled("f2"), Settled("s2")))))
    assert (told["s3"].early_start, told["f3"].early_start) == ("2026-03-02T08:00", "2026-03-03T09:00")


def test_what_follows_a_done_step_still_waits_for_what_is_open_before_that() -> None:
    """A seal that was here early does not let the fitting begin before the frame it goes into is welded."""
    frame = part("frame", step("weld", "long"), step("seal", "bearing", BUY), step("fit"))
    works = (operation(), operation("long", run=D(600)))
    made_plan = plan_of(frame, operations=works, schedule=schedule(settled=(Settled("seal"),)))
    fit = by_uid(made_plan)["fit"]
    assert (fit.early_start, fit.drivers, fit.set_by) == ("2026-03-03T09:00", ("weld",), SetBy.STEP)
    assert made_plan.chain == ("weld", "fit")


def test_a_latest_wait_binds_only_what_is_still_to_do() -> None:
    """Plated already, the bolts are not plated later so that the bake follows in time; the page of the work says by when."""
    works = (operation("plate", run=D(60), latest_wait=D(60)), operation("bake"), operation("slow", run=D(540 * 3)))
    bolts = part("bolts", step("plate", "plate"), step("bake", "bake", waits_for=("rack",)))
    rack = part("rack", step("rack", "slow"))
    later = plan_of(bolts, rack, operations=works)
    assert by_uid(later)["plate"].set_by is SetBy.LATEST_WAIT
    done = plan_of(bolts, rack, operations=works, schedule=schedule(settled=(Settled("plate"),)))
    told = by_uid(done)
    assert (told["plate"].set_by, told["plate"].early_finish) == (SetBy.START, "2026-03-02T08:00")
    assert (told["bake"].drivers, told["bake"].early_start, done.remarks) == (("rack",), "2026-03-05T08:00", ())


def test_hands_and_places_are_free_of_what_is_done() -> None:
    """Two parts of 540 min at one bench with one pair of hands: one of them done, the other fills one day."""
    works = (operation("long", run=D(540), place="bench"),)
    parts = part("a", step("a1", "long")), part("b", step("b1", "long", process="other"))
    both = plan_of(*parts, operations=works, schedule=schedule(hands=D(1), productive=D(1)))
    left = plan_of(*parts, operations=works, schedule=schedule(hands=D(1), productive=D(1), settled=(Settled("a1"),)))
    assert [floor.minutes for floor in both.floors] == [1080, 1080]
    assert [floor.minutes for floor in left.floors] == [540, 540]
    assert (both.ready, left.ready) == ("2026-03-03", "2026-03-02")


def test_what_is_settled_and_on_no_route_counts_for_nothing() -> None:
    """A step was taken off its route, or the schedule is compared with an earlier scope."""
    bolts = part("bolts", step("fit"))
    gone = schedule(settled=(Settled("gone"), Settled("other", "2026-04-01")))
    assert plan_of(bolts, schedule=gone) == plan_of(bolts)


def test_a_day_that_is_none_is_refused_at_its_field() -> None:
    with pytest.raises(BadInput) as caught:
        plated(Settled("zinc", "soon"))
    assert caught.value.field == "settled"


def test_settling_is_read_back_as_it_was_frozen() -> None:
    given_restoration = restoration(part("a", step("a1")), schedule=schedule(settled=(Settled("a1", "2026-03-04"),)))
    assert load(Restoration, dump(given_restoration)) == given_restoration
    before = dump(given_restoration).replace(b',"settled":[{"back":"2026-03-04","step":"a1"}]', b"")
    found = load(Restoration, before).schedule
    assert found is not None
    assert found.settled == ()


def test_a_plan_of_what_is_left_is_the_same_in_whatever_order_parts_come() -> None:
    for seed in range(40):
        given_restoration = made(seed, settled=True)
        turned = replace(given_restoration, parts=given_restoration.parts[::-1])
        assert planned(turned) == planned(given_restoration)
