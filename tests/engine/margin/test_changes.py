"""Why a job will leave other money than a week ago: adds up exactly, and names what moved most."""

from dataclasses import fields
from decimal import Decimal
from fractions import Fraction

import pytest

from quotes.engine.canonical import dump, load
from quotes.engine.margin.budgets import JobBudget, StepBudget
from quotes.engine.margin.changes import TERMS_OF, Cause, Kept, Largest, change, grouped, keep
from quotes.engine.margin.forecast import Known, Leaves, Price, forecast, price_of
from quotes.engine.margin.spending import Outlay, Spent
from quotes.engine.margin.variances import Terms
from quotes.engine.results import Visit
from quotes.engine.settlement import Agreed
from tests.engine.margin import made
from tests.engine.margin.test_forecast import LINES, clocked, known_of, weld

D, F = Decimal, Fraction
PRICE = price_of([Agreed("frame", "Q1", "fixed", D(2_000), "standard")], actuals={})


def test_every_term_belongs_to_one_cause() -> None:
    names = [name for terms in TERMS_OF.values() for name in terms]
    assert sorted(names) == sorted(Terms._fields)
    assert sum(grouped(Terms(*map(D, range(1, 22)))).values()) == sum(range(1, 22))


def test_the_worked_week_of_the_module() -> None:
    """Hand-worked: 10 h more at 28.00, the plater 15.00 dearer, a carrier for 60.00 that costs 25.00: 1,200.00 to 940.00."""
    frame = weld(10, "frame", rate=D(20), overhead_rate=D(8), first=Visit(D(600), D(200), D(80)))
    zinc = StepBudget("zinc", "bolts", first=Visit(vendor=D(520)))
    carrier = StepBudget("carrier", "carrier", first=Visit(bought_in=D(25)))
    before = Leaves(PRICE, forecast(JobBudget((frame, zinc)), []))
    agreed = price_of(
        [
            Agreed("frame", "Q1", "fixed", D(2_000), "standard"),
            Agreed("carrier", "Q2", "fixed", D(60), "standard", varies=True),
        ],
        actuals={},
    )
    known = [Known("frame", left=D(1_200)), Known("zinc", charge=D(535))]
    after = Leaves(agreed, forecast(JobBudget((frame, zinc, carrier)), [], known=known))
    found = change(before, after)
    assert (found.before, found.after, found.amount) == (1_200, 940, -260)
    assert found.causes == {Cause.HOURS: -280, Cause.VENDORS: -15, Cause.AGREED: 35}
    assert found.largest == Largest(Cause.HOURS, D(-280), "labour_efficiency", "frame")


def test_what_the_customer_pays_by_actual_and_what_was_found_are_causes_of_their_own() -> None:
    job = forecast(JobBudget((weld(),)), [])
    before = Leaves(price_of(LINES, actuals={}), job)
    after = Leaves(price_of(LINES, actuals={"engine": D(520)}, provisional={"x": D(90)}, storage=D(8)), job)
    found = change(before, after)
    assert found.causes == {Cause.BY_ACTUAL: 20, Cause.FOUND: 90, Cause.STORAGE: 8}
    assert found.largest == Largest(Cause.FOUND, D(90))


def test_a_step_done_as_it_was_expected_moves_nothing() -> None:
    job = JobBudget((weld(),))
    found = change(Leaves(PRICE, forecast(job, [])), Leaves(PRICE, forecast(job, [clocked(10, done=True)])))
    assert (found.amount, found.causes, found.largest) == (0, {}, None)


def test_hours_saved_name_the_step_that_saved_them() -> None:
    job = JobBudget((weld(), weld(10, "strip")))
    done = [clocked(7, done=True), clocked(11, "strip", done=True)]
    found = change(Leaves(PRICE, forecast(job, [])), Leaves(PRICE, forecast(job, done)))
    assert found.largest == Largest(Cause.HOURS, D(120), "labour_efficiency", "weld")


@pytest.mark.parametrize("seed", range(100))
def test_causes_add_up_to_the_change_exactly(seed: int) -> None:
    """Two weeks of the same bike that have little to do with each other, and a budget that grew."""
    one, other = made.job(2 * seed), made.job(2 * seed + 1)
    grown = JobBudget((*one.budget.steps, *_renamed(other.budget)), one.budget.reserves)
    by = made.Chance(seed)
    before = Leaves(some_price(by), forecast(one.budget, one.spent[::2], known=known_of(one, seed)))
    after = Leaves(some_price(by), forecast(grown, one.spent, known=known_of(one, seed + 1)))
    found = change(before, after)
    assert sum((F(amount) for amount in found.causes.values()), F(0)) == F(found.after) - F(found.before)
    for cause, amount in plainly(before, after).items():
        assert F(found.causes.get(cause, D(0))) == amount, cause
    assert change(load(Kept, dump(keep(before))), load(Kept, dump(keep(after)))) == found
    assert found.largest is not None
    assert abs(found.largest.amount) == max(abs(amount) for amount in found.causes.values())


def some_price(by: made.Chance) -> Price:
    return Price(*(by.number(0, 5_000) for _ in fields(Price)))


def plainly(before: Leaves, after: Leaves) -> dict[Cause, Fraction]:
    """Each cause by the table in the head of the module, in fractions."""
    was, now, old, new = before.price, after.price, before.forecast, after.forecast

    def moved(name: str) -> Fraction:
        return F(getattr(now, name)) - F(getattr(was, name))

    found = {
        Cause.AGREED: moved("fixed") + moved("variations") - F(new.budget) + F(old.budget),
        Cause.BY_ACTUAL: moved("capped") + moved("hourly"),
        Cause.FOUND: moved("provisional"),
        Cause.STORAGE: moved("storage"),
    }
    for cause, names in TERMS_OF.items():
        found[cause] = sum((F(getattr(old.terms, name)) - F(getattr(new.terms, name)) for name in names), F(0))
    return found


def _renamed(budget: JobBudget) -> list[StepBudget]:
    return [StepBudget(f"more {n}", "more", first=step.first) for n, step in enumerate(budget.steps)]


def test_money_spent_where_it_was_expected_is_no_change() -> None:
    job = JobBudget((weld(),))
    begun = Spent("weld", Outlay(D(120), D(84), D(36)))
    assert change(Leaves(PRICE, forecast(job, [])), Leaves(PRICE, forecast(job, [begun]))).amount == 0
