"""The plan: against a plain walk on any small restoration, and by examples a shop can follow on a wall calendar."""

from dataclasses import replace
from decimal import Decimal
from random import Random
from typing import Any

import pytest
from hypothesis import given

from quotes.engine import inputs
from quotes.engine.calendars import day_of, instant_of, instant_text
from quotes.engine.canonical import dump, load
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Held, Measure, Restoration, Settled, Work
from quotes.engine.plan import NOT_HONOURED, plan
from quotes.engine.planned import Bound, Plan, SetBy
from quotes.engine.rollup import price
from tests.engine import build
from tests.engine.build import operation, part, purchase, restoration, service, step
from tests.engine.days import START, WEEKDAYS, by_uid, calendar, plan_of, planned, schedule
from tests.engine.plain_plan import Plain
from tests.engine.strategies import fewer, seeds

D = Decimal
LOT, BUY = Work.SERVICE, Work.PURCHASE
FOUR_DAYS = calendar("four days", ((0, 480, 960), (1, 480, 960), (2, 480, 960), (5, 480, 960)))


def made(seed: int, *, limits: bool = False, settled: bool = False) -> Restoration:
    """Any small restoration with a schedule: labour, elapsed time, lots, purchases, waits, held days; perhaps under way."""
    by = Random(seed)
    works = tuple(
        operation(
            f"work {n}",
            run=D(by.choice((0, 1, 90, 480, 700))),
            elapsed=D(by.choice((0, 0, 60, 900))),
            shares_setup=False,
            latest_wait=D(by.choice((0, 60, 600, 2000))) if limits and by.random() < 0.5 else None,
        )
        for n in range(4)
    )
    lots = (
        service("plater", lead_days=by.randint(0, 4), transport_days=by.randint(0, 2), calendar="four days"),
        service("welder", lead_days=by.randint(0, 2), handling=D(30), handling_grade="mechanic"),
    )
    bought = (
        purchase("tyre", lead_days=by.randint(0, 5)),
        purchase("cable", handling=D(10), handling_grade="mechanic"),
    )
    parts, earlier = [], []
    for number in range(by.randint(1, 4)):
        steps = []
        for place in range(by.randint(1, 4)):
            work, refs = by.choice(((Work.OPERATION, works), (Work.OPERATION, works), (LOT, lots), (BUY, bought)))
            uid = f"{number}.{place}"
            waits = tuple(sorted(by.sample(earlier, min(len(earlier), by.choice((0, 0, 1, 2))))))
            quantity = D(0) if by.random() < 0.05 else None
            steps.append(step(uid, by.choice(refs).key, work, waits_for=waits, quantity=quantity, process=uid))
        earlier += [item.uid for item in steps]
        parts.append(part(f"part {number}", *steps, pieces=by.choice((1, 1, 1, 1, 0))))
    held = (Held("2026-03-04", "2026-03-06", "money is late"),) if by.random() < 0.3 else ()
    when = schedule(FOUR_DAYS, held=held, shop=calendar(closed=("2026-03-10",)))
    found = restoration(*parts, operations=works, services=lots, purchases=bought, schedule=when)
    return under_way(found, by) if settled else found


def under_way(given_restoration: Restoration, by: Random) -> Restoration:
    """The same with some steps done, and some vendor work and purchases out, before or after their day, in any order."""
    settled = []
    for item in given_restoration.parts:
        for one in item.steps:
            if by.random() < 0.3:
                settled.append(Settled(one.uid))
            elif one.work is not Work.OPERATION and by.random() < 0.5:
                settled.append(Settled(one.uid, f"2026-{by.choice(('02-27', '03-02', '03-07', '03-10', '03-23'))}"))
    assert given_restoration.schedule is not None
    return replace(given_restoration, schedule=replace(given_restoration.schedule, settled=tuple(settled)))


def plain(given_restoration: Restoration) -> Plain:
    steps = price(given_restoration).steps
    return Plain(given_restoration, {item.uid: item.first.minutes for item in steps}, 160)


def alone(given_restoration: Restoration) -> Plan:
    """Its plan with every step a batch of its own."""
    explained = price(given_restoration)
    return plan(given_restoration, explained.steps, [(item.uid,) for item in explained.steps])


@given(seeds)
def test_every_step_ends_when_a_plain_walk_says(seed: int) -> None:
    given_restoration = made(seed)
    plan_made, walk = alone(given_restoration), plain(given_restoration)
    ends = walk.ends()
    assert {s.uid: walk.bike.at(s.early_finish) for s in plan_made.steps} == ends
    assert walk.bike.day(plan_made.ready) == walk.ready_day(ends)
    for told in plan_made.steps:
        between = walk.bike.open[walk.bike.at(told.early_start) : walk.bike.at(told.late_start)]
        assert told.slack == sum(between)


@given(seeds)
def test_everything_begun_at_its_latest_still_keeps_the_ready_day(seed: int) -> None:
    given_restoration = made(seed)
    plan_made, walk = alone(given_restoration), plain(given_restoration)
    begins = {s.uid: walk.bike.at(s.late_start) for s in plan_made.steps}
    ends = {uid: walk.end_of(uid, begin) for uid, begin in begins.items()}
    assert all(ends[pred] <= begins[uid] for uid, preds in walk.before.items() for pred in preds)
    assert {s.uid: walk.bike.at(s.late_finish) for s in plan_made.steps} == ends
    assert walk.ready_day(ends) == walk.bike.day(plan_made.ready)


@fewer
@given(seeds)
def test_a_minute_after_its_latest_start_the_ready_day_is_missed(seed: int) -> None:
    given_restoration = made(seed)
    plan_made, walk = alone(given_restoration), plain(given_restoration)
    for told in plan_made.steps:
        begin = walk.bike.at(told.late_start)
        assert walk.ready_day(walk.ends({told.uid: begin})) == walk.bike.day(plan_made.ready)
        assert walk.ready_day(walk.ends({told.uid: begin + 1})) > walk.bike.day(plan_made.ready)


@given(seeds)
def test_latest_waits_are_honoured_early_and_late_or_a_remark_says_not(seed: int) -> None:
    given_restoration = made(seed, limits=True)
    made_plan, walk = alone(given_restoration), plain(given_restoration)
    told, at = by_uid(made_plan), walk.bike.at
    limits = {item.key: item.latest_wait for item in given_restoration.operations}
    excused = {(remark.part, remark.step) for remark in made_plan.remarks}
    for item in given_restoration.parts:
        for one, other in zip(item.steps, item.steps[1:], strict=False):
            limit = limits.get(one.ref) if one.work is Work.OPERATION else None
            if limit is None or (item.name, one.name) in excused or not walk.has_work(item, one):
                continue
            leader, follower = told[one.uid], told[other.uid]
            assert at(follower.early_start) <= at(leader.early_finish) + limit
            assert at(follower.late_start) <= at(leader.late_finish) + limit
    for item in made_plan.steps:
        assert item.early_start <= item.late_start
        assert item.slack >= 0
        for pred in walk.before[item.uid]:
            assert told[pred].early_finish <= item.early_start
            assert told[pred].late_finish <= item.late_start
        assert walk.end_of(item.uid, at(item.late_start)) == at(item.late_finish)


@given(seeds)
def test_what_a_latest_wait_holds_back_could_not_begin_a_minute_earlier(seed: int) -> None:
    given_restoration = made(seed, limits=True)
    made_plan, walk = alone(given_restoration), plain(given_restoration)
    told, at = by_uid(made_plan), walk.bike.at
    limits = {item.key: item.latest_wait for item in given_restoration.operations}
    for item in made_plan.steps:
        if item.set_by is SetBy.LATEST_WAIT:
            earlier = at(item.early_start) - 1
            while (ended := walk.end_of(item.uid, earlier)) == at(item.early_finish):
                earlier -= 1
            limit = limits[walk.steps[item.uid][1].ref]
            assert limit is not None
            assert at(told[item.drivers[0]].early_start) > ended + limit


# -- by example ------------------------------------------------------------------------------------------------------


def test_hands_work_in_hours_and_paint_dries_at_night() -> None:
    tank = part("tank", step("paint", "paint"), step("polish", "polish"))
    works = (operation("paint", run=D(600), elapsed=D(720)), operation("polish", run=D(60)))
    told = by_uid(plan_of(tank, operations=works))
    assert (told["paint"].early_start, told["paint"].early_finish) == ("2026-03-02T08:00", "2026-03-03T21:00")
    assert (told["polish"].early_start, told["polish"].early_finish) == ("2026-03-04T08:00", "2026-03-04T09:00")
    assert told["polish"].set_by is SetBy.CLOSED
    assert told["polish"].drivers == ("paint",)
    assert told["paint"].set_by is SetBy.START


def test_a_lot_leaves_is_on_the_road_and_at_the_vendors_and_back() -> None:
    """Packed on Monday, on the road until Tuesday; five of the vendor's days from there, on the road again."""
    zinc = service("zinc", handling=D(60), handling_grade="mechanic", lead_days=5, transport_days=1, calendar="plater")
    plater = calendar("plater", ((0, 480, 960), (1, 480, 960), (2, 480, 960)))
    bolts = part("bolts", step("zinc", "zinc", LOT), step("fit"))
    made_plan = plan_of(bolts, services=(zinc,), schedule=schedule(plater))
    (lot,) = made_plan.lots
    # Tuesday 3 March + 5 of Monday to Wednesday: 4, 9, 10, 11, 16 March; back on the 17th.
    assert (lot.leaves, lot.back, lot.steps, lot.vendor) == ("2026-03-02", "2026-03-17", ("zinc",), "a plater")
    told = by_uid(made_plan)
    assert told["zinc"].early_finish == "2026-03-17T17:00"
    assert told["fit"].early_start == "2026-03-18T08:00"
    assert made_plan.ready == "2026-03-18"


def test_a_lot_must_leave_by_the_day_that_still_keeps_the_ready_day() -> None:
    zinc = service("zinc", lead_days=2, calendar="")
    slow = operation("slow", run=D(540 * 8))
    bolts, engine = part("bolts", step("zinc", "zinc", LOT), step("fit")), part("engine", step("build", "slow"))
    (lot,) = plan_of(bolts, engine, services=(zinc,), operations=(operation(), slow)).lots
    # The engine takes until Wednesday 11 March; fitting takes a minute of that day, so bolts are back by the 10th.
    assert (lot.leaves, lot.must_leave, lot.must_be_back) == ("2026-03-02", "2026-03-06", "2026-03-10")


def test_a_purchase_that_waits_for_nothing_is_ordered_at_once() -> None:
    tyres = part("tyres", step("buy", "tyre", BUY), step("mount"))
    made_plan = plan_of(tyres, purchases=(purchase("tyre", lead_days=6),))
    (order,) = made_plan.orders
    assert (order.ordered, order.there, order.order_by, order.needed) == (
        "2026-03-02",
        "2026-03-10",
        "2026-03-02",
        "2026-03-10",
    )
    assert made_plan.ready == "2026-03-11"


def test_what_is_on_the_shelf_takes_no_time() -> None:
    tyres = part("tyres", step("take", "bearing", BUY), step("mount"))
    made_plan = plan_of(tyres)
    assert made_plan.orders == ()
    assert by_uid(made_plan)["mount"].early_start == "2026-03-02T08:00"


def test_held_days_stop_our_hands_and_not_what_is_under_way() -> None:
    held = (Held("2026-03-03", "2026-03-05", "waiting for money"),)
    zinc = service("zinc", lead_days=2)
    bolts, frame = part("bolts", step("zinc", "zinc", LOT), step("fit")), part("frame", step("weld", "long"))
    works = (operation(), operation("long", run=D(600)))
    made_plan = plan_of(bolts, frame, services=(zinc,), operations=works, schedule=schedule(held=held))
    told = by_uid(made_plan)
    assert made_plan.lots[0].back == "2026-03-04"
    assert (told["fit"].early_start, told["fit"].set_by) == ("2026-03-06T08:00", SetBy.HELD)
    assert told["weld"].early_finish == "2026-03-06T09:00"


def test_batches_are_one_node_and_wait_for_all_their_parts() -> None:
    slow = part("slow", step("a1", "long"), step("a2", "blast"))
    quick = part("quick", step("b1"), step("b2", "blast"), step("b3"))
    works = (operation(), operation("long", run=D(500)), operation("blast", setup=D(20), run=D(10)))
    told = by_uid(plan_of(slow, quick, operations=works))
    assert told["a2"].early_start == told["b2"].early_start == "2026-03-02T16:20"
    # 20 min set-up once, 10 min each.
    assert told["b2"].early_finish == "2026-03-02T17:00"
    assert told["b3"].drivers == ("a2",)
    assert (told["b2"].drivers, told["b2"].slack) == (("a1",), told["a2"].slack)


def test_loads_of_an_oven_that_stays_occupied_come_one_after_the_other() -> None:
    def finish(**changes: Any) -> str:
        bake = operation(
            "bake", run=D(0), elapsed=D(60), capacity=D(2), capacity_by=Measure.PIECE, place="oven", **changes
        )
        return by_uid(plan_of(part("bolts", step("bake", "bake"), pieces=5), operations=(bake,)))["bake"].early_finish

    assert finish(occupies=True) == "2026-03-02T11:00"
    assert finish(occupies=False) == "2026-03-02T09:00"


# -- what decides the ready day --------------------------------------------------------------------------------------


def two_parts(**changes: Any) -> Plan:
    """Two parts of 540 minutes each, side by side."""
    works = (operation("long", run=D(540), place="bench"),)
    return plan_of(
        part("a", step("a1", "long")),
        part("b", step("b1", "long", process="other")),
        operations=works,
        schedule=schedule(**changes),
    )


def test_as_many_hands_as_are_needed_finish_with_the_longest_way() -> None:
    made_plan = two_parts(load=(("bench", D(0)),))
    assert made_plan.bound is Bound.PLACE
    assert made_plan.path_ends == "2026-03-02T17:00"


def test_one_pair_of_hands_that_is_productive_half_the_time_takes_four_days() -> None:
    made_plan = two_parts(hands=D(1), productive=D("0.5"))
    hands = made_plan.floors[0]
    assert (hands.bound, hands.minutes, hands.until) == (Bound.HANDS, 1080, "2026-03-05T17:00")
    assert (made_plan.ready, made_plan.bound) == ("2026-03-05", Bound.HANDS)
    # All have slack then: each may wait three days and still be done.
    assert {told.slack for told in made_plan.steps} == {3 * 540}


def test_the_load_of_others_comes_before() -> None:
    made_plan = two_parts(hands=D(1), productive=D(1), load=(("", D(540 * 5)), ("bench", D(540))))
    assert {floor.bound: (floor.load, floor.until) for floor in made_plan.floors} == {
        Bound.HANDS: (2700, "2026-03-10T17:00"),
        Bound.PLACE: (540, "2026-03-04T17:00"),
    }
    assert made_plan.ready == "2026-03-10"


def test_a_place_binds_by_the_clock_where_it_is_taken_at_night() -> None:
    bake = operation("bake", run=D(60), elapsed=D(1380), place="oven", occupies=True, shares_setup=False)
    parts = [part(uid, step(f"{uid}1", "bake")) for uid in "abc"]
    made_plan = plan_of(*parts, operations=(bake,))
    assert (made_plan.bound, made_plan.place, made_plan.path_ends) == (Bound.PLACE, "oven", "2026-03-03T08:00")
    assert made_plan.floors[0].until == "2026-03-05T08:00"


def test_the_ready_day_is_a_working_day() -> None:
    dry = operation("dry", run=D(1), elapsed=D(720))
    made_plan = plan_of(part("tank", step("dry", "dry")), operations=(dry,), schedule=schedule(starts_on="2026-03-06"))
    assert (made_plan.path_ends, made_plan.ready) == ("2026-03-06T20:01", "2026-03-09")


def test_a_bike_with_nothing_to_do_is_ready_on_the_first_day() -> None:
    made_plan = plan_of(schedule=schedule(starts_on="2026-03-07"))
    assert (made_plan.ready, made_plan.chain, made_plan.steps) == ("2026-03-09", (), ())


def test_the_chain_leads_from_the_start_to_what_ends_last() -> None:
    frame = part("frame", step("weld", "long"), step("build", waits_for=("zinc", "seat"), process="build"))
    bolts = part("bolts", step("sort"), step("zinc", "zinc", LOT))
    seat = part("seat", step("seat"))
    works = (operation(), operation("long", run=D(900)))
    made_plan = plan_of(frame, bolts, seat, operations=works, services=(service("zinc", lead_days=8),))
    told = by_uid(made_plan)
    assert made_plan.chain == ("seat", "zinc", "build")  # sorting and the seat's own step are one batch
    assert told["build"].drivers == ("zinc",)
    assert told["weld"].slack > 0
    assert told["zinc"].slack == told["seat"].slack


# -- latest waits ----------------------------------------------------------------------------------------------------


def plated(*, starts_on: str, dry: int, limit: int, minutes: int = 120) -> Plan:
    works = (
        operation("plate", run=D(minutes), elapsed=D(dry), latest_wait=D(limit)),
        operation("bake", run=D(15), elapsed=D(480)),
    )
    bolts = part("bolts", step("plate", "plate"), step("bake", "bake"))
    return plan_of(bolts, operations=works, schedule=schedule(starts_on=starts_on))


def test_plating_is_not_finished_on_a_friday_when_nobody_bakes_at_the_weekend() -> None:
    """Friday 14:00 would end at 18:00, and the bake could only begin on Monday; its four hours are long over by then."""
    works = (
        operation("strip", run=D(360)),
        operation("plate", run=D(120), elapsed=D(120), latest_wait=D(240)),
        operation("bake", run=D(15), elapsed=D(480)),
    )
    bolts = part("bolts", step("strip", "strip"), step("plate", "plate"), step("bake", "bake"))
    friday = schedule(starts_on="2026-03-06")
    told = by_uid(plan_of(bolts, operations=works, schedule=friday))
    assert told["strip"].early_finish == "2026-03-06T14:00"
    assert (told["plate"].early_start, told["plate"].early_finish) == ("2026-03-09T08:00", "2026-03-09T12:00")
    assert told["bake"].early_start == told["plate"].early_finish
    assert (told["plate"].set_by, told["plate"].drivers) == (SetBy.LATEST_WAIT, ("bake",))
    without = tuple(replace(work, latest_wait=None) for work in works)
    free = by_uid(plan_of(bolts, operations=without, schedule=friday))
    assert (free["plate"].early_finish, free["bake"].early_start) == ("2026-03-06T18:00", "2026-03-09T08:00")


def test_a_step_waits_so_that_what_follows_need_not_wait_for_a_late_part() -> None:
    """The bake also waits for the oven to be built until Thursday; plating follows that, not the other way round."""
    works = (
        operation("plate", run=D(60), latest_wait=D(240)),
        operation("bake", run=D(15)),
        operation("slow", run=D(540 * 3)),
    )
    bolts = part("bolts", step("plate", "plate"), step("bake", "bake", waits_for=("rack",)))
    made_plan = plan_of(bolts, part("rack", step("rack", "slow")), operations=works)
    told = by_uid(made_plan)
    assert told["rack"].early_finish == "2026-03-04T17:00"
    # Nobody plates half of it on the evening before: all of it is done on Thursday morning.
    assert (told["plate"].early_start, told["bake"].early_start) == ("2026-03-05T08:00", "2026-03-05T09:00")
    assert told["plate"].drivers == ("bake",)
    assert made_plan.chain == ("rack", "plate", "bake")


def test_a_latest_wait_that_cannot_be_honoured_is_said_and_not_waited_for() -> None:
    """Twelve hours after any working hour it is night, and two hours later still: no hour of the week will do."""
    made_plan = plated(starts_on=START, dry=720, limit=120, minutes=60)
    (remark,) = made_plan.remarks
    assert (remark.part, remark.step, remark.text, remark.values) == (
        "bolts",
        "plate",
        NOT_HONOURED,
        (("limit", "120"),),
    )
    told = by_uid(made_plan)
    assert (told["plate"].early_start, told["bake"].early_start) == ("2026-03-02T08:00", "2026-03-03T08:00")


def test_the_same_wait_is_honoured_where_a_night_shift_bakes() -> None:
    nights = calendar(hours=(*WEEKDAYS, *((day, 1260, 1440) for day in range(5))))
    works = (operation("plate", run=D(60), elapsed=D(720), latest_wait=D(120)), operation("bake", run=D(15)))
    bolts = part("bolts", step("plate", "plate"), step("bake", "bake"))
    made_plan = plan_of(bolts, operations=works, schedule=schedule(shop=nights))
    assert made_plan.remarks == ()
    assert by_uid(made_plan)["bake"].early_start == "2026-03-02T21:00"


def test_a_wait_that_fits_on_one_day_of_the_week_is_put_off_until_then() -> None:
    """Only on Fridays somebody is there late enough to bake what dries for half a day."""
    late_fridays = calendar(hours=(*WEEKDAYS, (4, 1260, 1440)))
    works = (operation("plate", run=D(60), elapsed=D(720), latest_wait=D(120)), operation("bake", run=D(15)))
    bolts = part("bolts", step("plate", "plate"), step("bake", "bake"))
    made_plan = plan_of(bolts, operations=works, schedule=schedule(shop=late_fridays))
    assert made_plan.remarks == ()
    told = by_uid(made_plan)
    assert (told["plate"].early_start, told["bake"].early_start) == ("2026-03-06T08:00", "2026-03-06T21:00")


def test_a_latest_wait_around_a_longer_way_between_cannot_be_honoured() -> None:
    """Coating must follow within an hour, and also waits for masks cut to the plated part, which takes a day."""
    works = (operation("plate", latest_wait=D(60)), operation("coat"), operation("cut", run=D(540)))
    bolts = part("bolts", step("plate", "plate"), step("coat", "coat", waits_for=("masks",)))
    masks = part("masks", step("masks", "cut", waits_for=("plate",)))
    made_plan = plan_of(bolts, masks, operations=works)
    assert [remark.step for remark in made_plan.remarks] == ["plate"]
    assert made_plan.ready == "2026-03-03"


def test_only_what_follows_on_the_part_itself_must_begin_in_time() -> None:
    works = (operation("paint", latest_wait=D(60)), operation("fit"), operation("slow", run=D(540 * 3)))
    tank, frame = part("tank", step("paint", "paint")), part("frame", step("frame", "slow"), step("fit", "fit"))
    frame = replace(frame, steps=(frame.steps[0], replace(frame.steps[1], waits_for=("paint",))))
    told = by_uid(plan_of(tank, frame, operations=works))
    assert told["paint"].early_start == "2026-03-02T08:00"


# -- what makes no sense, and what is kept ---------------------------------------------------------------------------


def refusal(**changes: Any) -> BadInput:
    with pytest.raises(BadInput) as caught:
        plan_of(part("a", step("a1")), **changes)
    return caught.value


def test_without_a_schedule_it_says_what_is_missing() -> None:
    explained = build.priced(part("a", step("a1")))
    with pytest.raises(BadInput, match="Give one") as caught:
        plan(restoration(part("a", step("a1"))), explained.steps, explained.batches)
    assert caught.value.field == "schedule"


def test_a_vendor_without_a_calendar_is_named() -> None:
    with pytest.raises(BadInput) as caught:
        plan_of(part("a", step("a1", "zinc", LOT)), services=(service(calendar="plater"),))
    assert caught.value.sentence() == "There is no calendar “plater”. Add it, or choose another."


def test_holidays_must_be_known_until_the_ready_day() -> None:
    slow = (operation(run=D(540 * 30)),)
    error = refusal(operations=slow, schedule=schedule(shop=calendar(known_until="2026-03-31")))
    assert error.sentence() == (
        "The holidays of the shop are known until 2026-03-31, and the plan runs until 2026-04-10. Add those that follow."
    )
    assert plan_of(part("a", step("a1")), operations=slow, schedule=schedule(shop=calendar(known_until="2026-04-10")))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"schedule": schedule(hands=D(-1))}, "hands"),
        ({"schedule": schedule(productive=D(0))}, "productive"),
        ({"schedule": schedule(productive=D("1.1"))}, "productive"),
        ({"schedule": schedule(load=(("bench", D(-1)),))}, "load"),
        ({"schedule": schedule(starts_on="soon")}, "starts_on"),
        ({"operations": (operation(latest_wait=D(-1)),)}, "latest_wait"),
        ({"services": (service(lead_days=-1),)}, "lead_days"),
        ({"services": (service(transport_days=-1),)}, "transport_days"),
        ({"purchases": (purchase(lead_days=-1),)}, "lead_days"),
    ],
)
def test_what_cannot_be_planned_by_is_refused_at_its_field(changes: dict[str, Any], field: str) -> None:
    assert refusal(**changes).field == field


@given(seeds)
def test_a_plan_is_the_same_in_whatever_order_parts_come(seed: int) -> None:
    given_restoration = made(seed, limits=True)
    turned = replace(given_restoration, parts=given_restoration.parts[::-1])
    assert planned(turned) == planned(given_restoration)


@given(seeds)
def test_a_plan_can_be_kept(seed: int) -> None:
    made_plan = planned(made(seed, limits=True))
    assert load(Plan, dump(made_plan)) == made_plan


@given(seeds)
def test_every_driver_ends_when_what_it_drives_could_begin(seed: int) -> None:
    made_plan = planned(made(seed))
    told = by_uid(made_plan)
    for item in made_plan.steps:
        for driver in item.drivers:
            assert told[driver].early_finish <= item.early_start
        assert bool(item.drivers) == (item.set_by is not SetBy.START) or not item.drivers
    for one, other in zip(made_plan.chain, made_plan.chain[1:], strict=False):
        assert one in told[other].drivers
    if made_plan.chain:
        assert told[made_plan.chain[-1]].early_finish == made_plan.path_ends
        assert told[made_plan.chain[0]].drivers == ()


def test_instants_and_days_agree() -> None:
    assert instant_text(instant_of(f"{START}T00:00")) == f"{START}T00:00"
    assert instant_of(f"{START}T00:00") == day_of(START) * 1440
    assert inputs.Schedule(START, ()).hands == 0
