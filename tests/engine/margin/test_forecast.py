"""A job as it is expected to close: by hand, by its own identity on many jobs, and a second time in fractions."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quotes.engine.errors import BadInput
from quotes.engine.margin.budgets import Item, JobBudget, Kind, Reserve, StepBudget, with_reserves
from quotes.engine.margin.forecast import (
    Forecast,
    Known,
    Leaves,
    Stands,
    at_same_margin,
    by_part,
    forecast,
    price_of,
    said_left,
)
from quotes.engine.margin.performance import half_weight, performance, shrunk
from quotes.engine.margin.spending import Outlay, Spent, Used
from quotes.engine.results import Visit
from quotes.engine.settlement import Agreed
from tests.engine.margin import made, plain

D, F = Decimal, Fraction
SEEDS = range(100)
NEXT_TO_NOTHING = F(1, 10**18)


def known_of(job: made.Job, seed: int) -> list[Known]:
    by = made.Chance(seed)
    uids = [step.uid for step in job.budget.steps if by.one_in(3)]
    return [
        Known(uid, *(by.number(0, 400) if by.one_in(2) else None for _ in ("left", "charge", "bought_in")))
        for uid in uids
    ]


# -- by example ------------------------------------------------------------------------------------------------------


def weld(hours: int = 10, uid: str = "weld", **changes: object) -> StepBudget:
    """Labour at 42.00, overhead at 18.00: 60.00 an hour."""
    usual: dict[str, object] = {
        "first": Visit(D(60 * hours), D(42 * hours), D(18 * hours)),
        "rate": D(42),
        "overhead_rate": D(18),
        "again_rate": D(42),
        "again_overhead_rate": D(18),
    }
    return StepBudget(uid, "frame", **(usual | changes))  # type: ignore[arg-type]


def clocked(hours: int, uid: str = "weld", **changes: object) -> Spent:
    return Spent(uid, Outlay(D(60 * hours), D(42 * hours), D(18 * hours)), **changes)  # type: ignore[arg-type]


def test_hours_that_the_mechanic_says_are_left_stand_over_the_reckoning() -> None:
    """The table in the module: 4 h clocked and 3 h said are 420.00; by the budget 6 h would be left."""
    job, spent = JobBudget((weld(),)), [clocked(4)]
    said = forecast(job, spent, known=[Known("weld", left=D(180))])
    reckoned = forecast(job, spent)
    assert (said.at_completion, said.left, said.steps["weld"].stands) == (420, 180, Stands.MECHANIC)
    assert (reckoned.at_completion, reckoned.left, reckoned.steps["weld"].stands) == (600, 360, Stands.PERFORMANCE)
    assert said.left_budgeted == reckoned.left_budgeted == 360


def test_what_is_not_done_goes_by_how_the_job_went_so_far_as_far_as_that_is_believed() -> None:
    """Hand-worked: 20 h budgeted took 30; two steps of 20 and 10 h: m = 500/30 h, k = .35²/.15² × m = 90.74 h.

    Weight 20/110.74 = .1806, believed 1 + .1806 × .5 = 1.0903: the weld of 10 h takes 10.903 h, 654.18 at 60.00.
    """
    job = JobBudget((weld(), weld(20, "strip")))
    found = forecast(job, [clocked(30, "strip", done=True)])
    assert found.performance.half.quantize(D("0.01")) == D("90.74")
    assert found.performance.weight.quantize(D("0.0001")) == D("0.1806")
    assert found.performance.believed.quantize(D("0.0001")) == D("1.0903")
    assert found.at_completion.quantize(D("0.01")) == 1_800 + D("654.18")


def test_what_is_said_of_a_task_is_shared_by_what_its_steps_still_have() -> None:
    """Hand-worked: 6 h and 2 h still budgeted, 100 min said: 75 and 25. Where all is used up: equally, to the minute."""
    steps = [(weld(), clocked(4)), (weld(2, "strip"), Spent("strip"))]
    assert said_left(100, steps) == {"weld": 75, "strip": 25}
    used_up = [(weld(), clocked(14)), (weld(2, "strip"), clocked(3, "strip"))]
    assert said_left(101, used_up) == {"strip": 51, "weld": 50}


def test_a_step_that_used_up_its_hours_and_is_not_done_is_asked_about() -> None:
    job = JobBudget((weld(),))
    assert forecast(job, [clocked(12)]).ask == ("weld",)
    assert forecast(job, [clocked(12)], known=[Known("weld", left=D(0))]).ask == ()
    assert forecast(job, [clocked(9)]).ask == ()


def test_hours_left_on_a_step_that_is_done_are_for_doing_it_again() -> None:
    """Hand-worked: 10 h as budgeted, then 2 h more because it failed: 120.00 of rework and nothing else."""
    found = forecast(JobBudget((weld(),)), [clocked(10, done=True)], known=[Known("weld", left=D(120))])
    assert (found.at_completion, found.left) == (720, 120)
    assert (found.terms.labour_rework, found.terms.overhead_rework, found.terms.total) == (84, 36, 120)


def test_vendors_and_parts_are_received_ordered_and_to_order() -> None:
    """Hand-worked: chrome came for 95 instead of 80, zinc is agreed at 33 instead of 30, a seat of 60 is to be ordered."""
    steps = (
        StepBudget("chrome", "tank", first=Visit(vendor=D(80))),
        StepBudget("zinc", "bolts", first=Visit(vendor=D(30))),
        StepBudget("seat", "seat", first=Visit(bought_in=D(60))),
    )
    spent = [Spent("chrome", Outlay(charge=D(95)), done=True)]
    found = forecast(JobBudget(steps), spent, known=[Known("zinc", charge=D(33))])
    vendor, bought = found.classes["vendor"], found.classes["bought_in"]
    assert (vendor.budget, vendor.spent, vendor.ordered, vendor.to_come) == (110, 95, 33, 0)
    assert (bought.budget, bought.spent, bought.ordered, bought.to_come) == (60, 0, 0, 60)
    assert (found.at_completion, found.ordered, found.terms.vendor_charge) == (188, 33, 18)


def test_material_of_an_open_step_is_the_standard_quantity_unless_more_is_used() -> None:
    """Hand-worked: .5 l at 16.00; .2 l used for 3.40: .3 l more at 4.80. Where .6 l are used, nothing more comes."""
    step = StepBudget("coat", "tank", first=Visit(material=D(8)), items=(Item("paint", "l", D("0.5"), D(16)),))
    some = Spent("coat", Outlay(used=(Used("paint", D("0.2"), D("3.40")),)))
    more = Spent("coat", Outlay(used=(Used("paint", D("0.6"), D("9.60")),)))
    assert forecast(JobBudget((step,)), [some]).at_completion == D("8.20")
    assert forecast(JobBudget((step,)), [more]).at_completion == D("9.60")


def test_an_allowance_stands_until_the_step_is_done_and_is_then_a_gain() -> None:
    job = JobBudget((weld(allowance=Visit(D(60), D(42), D(18), D(3), D(20), D(7))),))
    assert forecast(job, []).at_completion == forecast(job, [clocked(4)]).at_completion == 690
    assert forecast(job, [clocked(10, done=True)]).terms.rework == -90


def test_what_was_kept_for_damage_stands_until_more_is_spent_or_none_can_come() -> None:
    """Hand-worked: 50 kept for labour; 20 of vendor work so far leaves 30 to come; 70 is 20 over; settled at 20 gains 30."""
    kept = Reserve("frame", Kind.DAMAGE, Visit(labour=D(50)))
    job = JobBudget((), (kept,))

    def found(charge: int, *, done: bool = False) -> Forecast:
        return forecast(job, [Spent(kept.uid, Outlay(charge=D(charge)), done=done)])

    assert (found(20).at_completion, found(20).terms.damage) == (50, 0)
    assert (found(70).at_completion, found(70).terms.damage) == (70, 20)
    assert (found(20, done=True).at_completion, found(20, done=True).terms.damage) == (20, -30)
    assert found(20).classes["labour"].to_come == 30


def test_what_nobody_agreed_to_is_cost_and_no_budget() -> None:
    found = forecast(JobBudget((weld(),)), [clocked(2, "extra")])
    assert (found.budget, found.at_completion, found.left_budgeted) == (600, 720, 600)
    assert found.ask == ("extra",)


def test_hours_that_are_used_up_are_no_hours_still_budgeted() -> None:
    job = JobBudget((weld(), weld(10, "strip")))
    assert forecast(job, [clocked(14), clocked(3, "strip")]).left_budgeted == 7 * 60


def test_exposure_is_what_is_out_and_not_paid() -> None:
    """Hand-worked: 240 spent, 33 on order, 200 received."""
    steps = (weld(), StepBudget("zinc", "bolts", first=Visit(vendor=D(30))))
    found = forecast(JobBudget(steps), [clocked(4)], known=[Known("zinc", charge=D(33))])
    assert found.exposure(D(200)) == 73


@pytest.mark.parametrize("kind", list(Kind))
def test_damage_that_nobody_thought_possible_is_damage_all_the_same(kind: Kind) -> None:
    job = with_reserves(JobBudget((weld(),)), [("frame", kind)])
    (kept,) = job.reserves
    found = forecast(job, [Spent(kept.uid, Outlay(D(60), D(42), D(18)))])
    assert (found.budget, found.at_completion) == (600, 660)
    assert getattr(found.terms, kind.value) == found.terms.total == 60
    assert with_reserves(job, [("frame", kind)]) == job


@pytest.mark.parametrize("seed", range(60))
def test_parts_and_what_nobody_agreed_to_are_the_whole_estimate(seed: int) -> None:
    job = made.job(seed)
    found = forecast(job.budget, job.spent, known=known_of(job, seed))
    parts = by_part(job.budget, found).values()
    extra = [item.cost for item in job.spent if item.uid.startswith("extra")]
    assert sum((F(part.expected) for part in parts), F(0)) + sum(map(F, extra)) == F(found.at_completion)
    assert sum((F(part.budget) for part in parts), F(0)) == F(found.budget)


LINES = [
    Agreed("frame", "Q1", "fixed", D(800), "standard"),
    Agreed("engine", "Q1", "capped", D(500), "standard", D(575)),
    Agreed("electrics", "Q1", "hourly", D(200), "standard", D(230)),
    Agreed("crack", "Q2", "hourly", D(90), "standard", varies=True),
    Agreed("left out", "Q2", "credit", D(-50), "standard", varies=True),
    Agreed("fee", "Q1", "credit", D(-100), "standard"),
]


def test_the_price_is_the_final_account_with_what_was_paid_before_added_back() -> None:
    """Hand-worked: 800 + min(640, 575) + 260 + (75 − 50) + 40 found and not agreed = 1,700; the fee of 100 is not taken off."""
    actuals = {"engine": D(640), "electrics": D(260), "crack": D(75)}
    price = price_of(LINES, actuals=actuals, provisional={"wheel": D(40)}, storage=D(12))
    assert (price.fixed, price.capped, price.hourly, price.variations, price.provisional) == (800, 575, 260, 25, 40)
    assert (price.total, price.credited) == (1_712, 100)


def test_money_left_is_the_price_less_what_it_will_have_cost() -> None:
    leaves = Leaves(price_of(LINES[:1], actuals={}), forecast(JobBudget((weld(),)), [clocked(12, done=True)]))
    assert (leaves.money, leaves.quoted, leaves.margin) == (80, 200, D("0.1"))
    assert Leaves(price_of([], actuals={}), leaves.forecast).margin is None


def test_a_line_by_actual_moves_with_its_cost() -> None:
    assert at_same_margin(quoted=D(500), budget=D(400), expected=D(500)) == 625
    assert at_same_margin(quoted=D(500), budget=D(0), expected=D(500)) == 500


# -- what holds for any job -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", SEEDS)
def test_the_estimate_is_the_budget_and_its_terms_exactly(seed: int) -> None:
    job = made.job(seed)
    found = forecast(job.budget, job.spent, known=known_of(job, seed))
    assert F(found.at_completion) == F(found.budget) + F(found.terms.total)
    assert sum((F(item.at_completion) for item in found.classes.values()), F(0)) == F(found.at_completion)
    assert sum((F(item.budget) for item in found.classes.values()), F(0)) == F(found.budget)
    assert F(found.spent) == plain.actual(job.spent)
    assert found.terms.in_progress == 0
    assert found.at_completion >= found.spent
    assert all(item.to_come >= -D("1e-18") and item.ordered >= 0 for item in found.classes.values())


@pytest.mark.parametrize("seed", SEEDS)
def test_a_job_nobody_has_begun_is_expected_to_cost_its_budget(seed: int) -> None:
    budget = made.budget(seed)
    found = forecast(budget, [])
    assert abs(F(found.terms.total)) < NEXT_TO_NOTHING
    assert all(abs(F(term)) < NEXT_TO_NOTHING for term in found.terms)
    assert abs(F(found.left) - F(budget.minutes)) < NEXT_TO_NOTHING
    assert found.left_budgeted == budget.minutes


@pytest.mark.parametrize("seed", SEEDS)
def test_a_job_that_is_done_has_cost_what_it_cost(seed: int) -> None:
    job = made.job(seed)
    spent = {item.uid: item.at(done=True) for item in job.spent}
    uids = [item.uid for item in (*job.budget.steps, *job.budget.reserves)]
    everything = [spent.pop(uid, Spent(uid, done=True)) for uid in uids] + list(spent.values())
    found = forecast(job.budget, everything)
    assert found.at_completion == found.spent
    assert (found.to_complete, found.left, found.left_budgeted, found.ask) == (0, 0, 0, ())


@pytest.mark.parametrize("seed", SEEDS)
def test_the_estimate_a_second_time_in_fractions(seed: int) -> None:
    job = made.job(seed)
    known = {item.uid: item for item in known_of(job, seed)}
    found = forecast(job.budget, job.spent, known=known.values())
    exact = plain_estimate(job, known, F(found.performance.believed))
    assert abs(F(found.at_completion) - exact) < NEXT_TO_NOTHING
    done = {item.uid: item for item in job.spent if item.done}
    hours = plain_performance(job.budget, done)
    assert abs(F(found.performance.believed) - hours) < NEXT_TO_NOTHING


def plain_performance(budget: JobBudget, done: Mapping[str, Spent]) -> Fraction:
    """(AH + k) / (SH + k), which is what a weight of SH / (SH + k) comes to."""
    sizes = [F(step.minutes) / 60 for step in budget.steps]
    if not sum(sizes):
        return F(1)
    half = F("0.35") ** 2 / F("0.15") ** 2 * sum(size * size for size in sizes) / sum(sizes)
    spent = standard = F(0)
    for step in budget.steps:
        if step.uid in done and step.minutes and done[step.uid].minutes:
            item = done[step.uid]
            first = step.first.minutes if item.batched is None else item.batched
            standard += (F(first) + F(step.allowance.minutes)) / 60
            spent += (F(item.first.minutes) + F(item.again.minutes)) / 60
    return (spent + half) / (standard + half) if standard else F(1)


def plain_estimate(job: made.Job, known: Mapping[str, Known], pace: Fraction) -> Fraction:
    """Each step by the rules in the head of the module, class by class."""
    spent = {item.uid: item for item in job.spent}
    total = plain.actual(job.spent)
    for step in job.budget.steps:
        item, told = spent.get(step.uid, Spent(step.uid)), known.get(step.uid, Known(step.uid))
        one, two, quoted, allowed = item.first, item.again, step.first, step.allowance
        hour = (F(step.rate or 0) + F(step.overhead_rate or 0)) / 60
        hour_again = (F(step.again_rate or 0) + F(step.again_overhead_rate or 0)) / 60
        if item.done:
            total += F(told.left or 0) * hour_again + F(told.charge or 0) + F(told.bought_in or 0)
            continue
        left = F(told.left) if told.left is not None else max(F(quoted.minutes) * pace - F(one.minutes), F(0))
        again = max(F(allowed.minutes) * pace - F(two.minutes), F(0))
        total += left * hour + again * hour_again
        for name, agreed, was in (
            ("charge", told.charge, step.quoted_vendor_charge),
            ("bought_in", told.bought_in, quoted.bought_in),
        ):
            total += max(F(was if agreed is None else agreed) - F(getattr(one, name)), F(0))
        total += max(F(quoted.vendor) - F(step.quoted_vendor_charge) - F(one.handling), F(0))
        total += max(F(allowed.vendor) - F(two.charge) - F(two.handling), F(0))
        total += max(F(allowed.bought_in) - F(two.bought_in), F(0))
        total += max(F(allowed.material) - sum(F(u.cost) for u in two.used), F(0))
        for stuff in step.items:
            used = sum(F(u.amount) for u in one.used if u.key == stuff.key)
            total += max(F(stuff.quantity) - used, F(0)) * F(stuff.price)
    for kept in job.budget.reserves:
        item = spent.get(kept.uid, Spent(kept.uid))
        if not item.done:
            total += max(sum(F(amount) for amount in kept.expected[1:6]) - plain.cost(item.first), F(0))
    return total


# -- performance ------------------------------------------------------------------------------------------------------

HOURS = st.lists(st.integers(1, 40), min_size=1, max_size=30)


@given(HOURS, st.integers(1, 90), st.integers(1, 90))
def test_the_weight_is_the_best_that_a_multiple_can_do(hours: list[int], steps: int, bikes: int) -> None:
    """E[(w(R − 1) − (Z − 1))²] = w²(τ² + c²Σs²/S²) − 2wτ² + τ²: no other w makes it smaller; in fractions."""
    c, tau = F(steps, 100), F(bikes, 100)
    half = half_weight([D(60 * h) for h in hours], step_spread=D(steps) / 100, bike_spread=D(bikes) / 100)
    weight = performance([(D(60 * h), D(60 * h)) for h in hours], half=half).weight
    noise = c * c * sum(h * h for h in hours) / F(sum(hours)) ** 2

    def error(w: Fraction) -> Fraction:
        return w * w * (tau * tau + noise) - 2 * w * tau * tau + tau * tau

    at = F(weight)
    assert all(error(at) <= error(at + step) for step in (F(1, 1000), F(-1, 1000)))


@given(spent=st.integers(0, 10_000), done=st.integers(1, 10_000), half=st.integers(1, 500))
def test_what_is_believed_lies_between_one_and_what_is_seen(spent: int, done: int, half: int) -> None:
    found = performance([(D(spent), D(done))], half=D(half))
    assert found.seen is not None
    assert min(D(1), found.seen) <= found.believed <= max(D(1), found.seen)


def test_more_of_the_same_is_believed_more() -> None:
    believed = [shrunk(D(2), done=D(hours), half=D("10.9")) for hours in (0, 2, 11, 60)]
    assert [one.quantize(D("0.01")) for one in believed] == [D("1.00"), D("1.16"), D("1.50"), D("1.85")]


def test_what_is_believed_is_nearer_to_what_comes_than_what_is_seen_and_than_the_budget() -> None:
    """4,000 made bikes with the spreads of the rate book: Z of .15 for the bike, .35 for each step; a third of the hours done."""
    by = Random(11)
    wrong = {"seen": 0.0, "believed": 0.0, "budget": 0.0}
    for _ in range(4_000):
        sizes = [by.choice((0.5, 1, 2, 4, 8)) for _ in range(30)]
        bike = by.lognormvariate(-0.011, 0.149)
        took = [bike * size * by.lognormvariate(-0.058, 0.34) for size in sizes]
        half = half_weight([D(str(60 * s)) for s in sizes], step_spread=D("0.35"), bike_spread=D("0.15"))
        pairs = [(D(f"{60 * t:.6f}"), D(str(60 * s))) for t, s in zip(took[:10], sizes[:10], strict=True)]
        found = performance(pairs, half=half)
        assert found.seen is not None
        rest, planned = sum(took[10:]), sum(sizes[10:])
        for name, factor in (("seen", float(found.seen)), ("believed", float(found.believed)), ("budget", 1.0)):
            wrong[name] += (factor * planned - rest) ** 2
    assert wrong["believed"] < 0.95 * min(wrong["seen"], wrong["budget"])


def test_without_a_spread_between_bikes_nothing_could_be_learned() -> None:
    with pytest.raises(BadInput, match="more than 0"):
        half_weight([D(60)], step_spread=D("0.35"), bike_spread=D(0))


def test_a_step_that_nobody_clocked_is_no_performance() -> None:
    job = JobBudget((weld(), weld(10, "strip")))
    found = forecast(job, [Spent("strip", done=True)])
    assert (found.performance.believed, found.left) == (1, 600)


def test_batches_are_no_performance() -> None:
    """Quoted at 60 min, in its batch 30; it took 30: as fast as expected."""
    job = JobBudget((weld(1), weld(1, "other")))
    spent = [replace(clocked(0, done=True), first=Outlay(D(30), D(21), D(9)), batched=D(30))]
    assert forecast(job, spent).performance.believed == 1
