"""The closing identity: exact for any job, and each term is what its formula says."""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

import pytest

from quotes.engine.errors import BadInput
from quotes.engine.margin.budgets import Item, JobBudget, Kind, Reserve, StepBudget, unbudgeted
from quotes.engine.margin.spending import Outlay, Spent, Used, all_of
from quotes.engine.margin.variances import WORDS, Terms, add_up, explain, of_job, of_reserve, of_shop, of_step
from quotes.engine.results import Visit
from tests.engine.margin import made, plain

D = Decimal
JOBS = 2_000
#: What 28 digits leave of a rate times minutes / 60, many times over.
NEXT_TO_NOTHING = Fraction(1, 10**20)


def test_the_terms_of_two_thousand_jobs_add_up_to_actual_less_earned_exactly() -> None:
    for seed in range(JOBS):
        job = made.job(seed)
        found = of_job(job.budget, job.spent)
        exact = plain.actual(job.spent) - plain.earned(job.budget, job.spent)
        assert Fraction(found.terms.total) == exact
        assert Fraction(found.actual) - Fraction(found.earned) == exact
        assert sum((Fraction(terms.total) for terms in found.by_uid.values()), Fraction(0)) == exact


def test_each_term_of_each_step_is_what_its_formula_says() -> None:
    """Against `tests.engine.margin.plain`, in fractions."""
    seen: set[str] = set()
    for seed in range(300):
        job = made.job(seed)
        steps = {step.uid: step for step in job.budget.steps}
        reserves = {item.uid for item in job.budget.reserves}
        found = of_job(job.budget, job.spent)
        for spent in job.spent:
            terms = found.by_uid[spent.uid]
            if not spent.done:
                assert terms == Terms(in_progress=spent.cost)
            elif spent.uid not in reserves:
                expected = plain.terms(steps.get(spent.uid, unbudgeted(spent.uid, "")), spent)
                for name, amount in expected.items():
                    assert abs(Fraction(getattr(terms, name)) - amount) < NEXT_TO_NOTHING, (seed, spent.uid, name)
                    seen |= {name} if amount else set()
    assert seen == set(Terms._fields) - {"damage", "finish", "comebacks", "in_progress"}


def test_jobs_with_spending_and_volume_close_the_books_of_the_shop() -> None:
    """Σ job variances + spending + volume = ledger actual − Σ earned: actual overhead stands in for what was applied."""
    by = made.Chance(7)
    for seed in range(100):
        jobs = [made.job(10 * seed + n) for n in range(by.randint(1, 5))]
        applied = sum((F_overhead(job) for job in jobs), D(0))
        incurred, allowed = by.number(0, 20_000), by.number(0, 20_000)
        shop = of_shop(
            [of_job(job.budget, job.spent) for job in jobs],
            overhead_actual=incurred,
            overhead_allowed=allowed,
            overhead_applied=applied,
        )
        ledger = sum((plain.actual(job.spent) for job in jobs), Fraction(0)) - Fraction(applied) + Fraction(incurred)
        earned = sum((plain.earned(job.budget, job.spent) for job in jobs), Fraction(0))
        assert Fraction(shop.total) == ledger - earned
        assert shop.spending == incurred - allowed


def F_overhead(job: made.Job) -> Decimal:
    return sum((item.of_class("overhead") for item in job.spent), D(0))


def tank(**changes: object) -> StepBudget:
    plain_budget: dict[str, object] = {
        "first": Visit(D(90), D(63), D(27), D(8)),
        "allowance": Visit(D(10), D(7), D(3), D("0.80")),
        "rate": D(42),
        "overhead_rate": D(18),
        "again_rate": D(42),
        "again_overhead_rate": D(18),
        "items": (Item("paint", "l", D("0.5"), D(16)),),
    }
    return StepBudget("tank", "tank", **(plain_budget | changes))  # type: ignore[arg-type]


def test_what_mixing_saved_is_batching_gain_and_never_efficiency() -> None:
    """Hand-worked: quoted 90 min, in the batch it was done in 60; it took 60: 30 min saved, nothing gained by speed."""
    terms = of_step(tank(), Spent("tank", Outlay(D(60), D(42), D(18)), done=True, batched=D(60)))
    assert (terms.labour_efficiency, terms.overhead_efficiency) == (0, 0)
    assert (terms.labour_batching, terms.overhead_batching) == (-21, -9)
    assert terms.batching_gain == 30


def test_price_and_usage_of_material_stand_apart() -> None:
    """Hand-worked: .6 l for 10.80 against .5 l at 16.00: 1.20 dearer by price, 1.60 by usage."""
    used = Outlay(used=(Used("paint", D("0.6"), D("10.80")),))
    terms = of_step(tank(), Spent("tank", used, done=True))
    assert (terms.material_price, terms.material_usage, terms.material_rework) == (D("1.20"), D("1.60"), D("-0.80"))


def test_a_stuff_without_a_standard_price_is_usage_and_no_price() -> None:
    spent = Spent("tank", Outlay(used=(Used("primer", D(1), D(9)),)), done=True)
    assert of_step(tank(), spent).material_price == 0
    assert of_step(tank(), spent).material_usage == 9 - 8
    priced = Spent("tank", Outlay(used=(Used("primer", D(1), D(9), D(7)),)), done=True)
    assert (of_step(tank(), priced).material_price, of_step(tank(), priced).material_usage) == (2, 7 - 8)


def test_what_nobody_planned_time_for_is_efficiency_and_no_rate() -> None:
    terms = of_step(unbudgeted("x", "tank"), Spent("x", Outlay(D(60), D(50), D(20)), done=True))
    assert (terms.labour_rate, terms.labour_efficiency) == (0, 50)
    assert (terms.overhead_rate, terms.overhead_efficiency) == (0, 20)


def test_nothing_is_earned_before_it_is_done_and_nothing_is_taken_back_after() -> None:
    going = Spent("tank", Outlay(D(60), D(42), D(18)))
    job = JobBudget((tank(),))
    assert of_job(job, [going]).earned == 0
    assert of_job(job, [going]).terms == Terms(in_progress=D(60))
    again = Spent("tank", Outlay(D(60), D(42), D(18)), Outlay(D(500), D(350), D(150)), done=True)
    assert of_job(job, [again]).earned == job.at_completion


@pytest.mark.parametrize("kind", list(Kind))
def test_what_was_kept_and_not_needed_is_a_gain_once_no_more_can_come(kind: Kind) -> None:
    kept = Reserve("tank", kind, Visit(labour=D(30)))
    open_terms = of_reserve(kept, Spent(kept.uid, Outlay(labour=D(12))))
    assert open_terms == Terms(in_progress=D(12))
    assert getattr(of_reserve(kept, Spent(kept.uid, Outlay(labour=D(12)), done=True)), kind.value) == -18


def test_every_term_has_words_and_is_explained_from_inputs() -> None:
    assert set(WORDS) == set(Terms._fields)
    spent = Spent("tank", Outlay(D(100), D(75), D(30), (Used("paint", D(1), D(18)),)), done=True, batched=D(80))
    figures = {figure.formula: figure for figure in explain(tank(), spent, "EUR")}
    assert {name: figure.value for name, figure in figures.items()} == {
        name: amount for name, amount in of_step(tank(), spent)._asdict().items() if amount
    }
    named = {item.name: item.value for item in figures["labour_efficiency"].inputs}
    assert named == {"standard rate": 42, "minutes of the first pass": 100, "standard minutes in the batch done": 80}
    sources = {item.name: item.source for item in figures["labour_batching"].inputs}
    assert sources["standard minutes in the batch done"] == "batches as they were done"
    assert sources["standard minutes quoted"] == "accepted quote"
    assert all(figure.inputs for figure in figures.values())


@pytest.mark.parametrize("seed", range(60))
def test_explanations_give_the_terms(seed: int) -> None:
    job = made.job(seed)
    steps = {step.uid: step for step in job.budget.steps}
    for spent in job.spent:
        if spent.uid in steps:
            figures = explain(steps[spent.uid], spent, "EUR")
            assert sum((Fraction(f.value) for f in figures), Fraction(0)) == Fraction(
                of_step(steps[spent.uid], spent).total
            )


#: Term to how it comes from its inputs, by their names: hours in minutes, rates per hour.
RECIPES: dict[str, Callable[[dict[str, Fraction]], Fraction]] = {
    "labour_rate": lambda f: (
        f["labour"] - hours(f, "standard rate", "first") - hours(f, "standard rate again", "again")
    ),
    "labour_efficiency": lambda f: hours(f, "standard rate", "first") - hours(f, "standard rate", "batch"),
    "labour_batching": lambda f: hours(f, "standard rate", "batch") - hours(f, "standard rate", "quoted"),
    "labour_rework": lambda f: hours(f, "standard rate again", "again") - f["rework allowance"],
    "overhead_rate": lambda f: (
        f["applied overhead"] - hours(f, "overhead rate", "first") - hours(f, "overhead rate again", "again")
    ),
    "overhead_efficiency": lambda f: hours(f, "overhead rate", "first") - hours(f, "overhead rate", "batch"),
    "overhead_batching": lambda f: hours(f, "overhead rate", "batch") - hours(f, "overhead rate", "quoted"),
    "overhead_rework": lambda f: hours(f, "overhead rate again", "again") - f["rework allowance"],
    "vendor_charge": lambda f: f["charge"] - f["rule at the lots sent"],
    "vendor_lots": lambda f: f["rule at the lots sent"] - f["rule as quoted"],
    "vendor_handling": lambda f: f["trips and handling rate"] - f["trips and handling rate as quoted"],
    "vendor_rework": lambda f: f["vendors' work again"] - f["rework allowance"],
    "bought_in": lambda f: f["bought-in parts"] - f["bought-in parts as quoted"],
    "bought_in_rework": lambda f: f["replacements"] - f["rework allowance"],
    "in_progress": lambda f: f["spent so far"],
}
MINUTES = {
    "first": "minutes of the first pass",
    "again": "minutes again",
    "batch": "standard minutes in the batch done",
    "quoted": "standard minutes quoted",
}


def hours(named: dict[str, Fraction], rate: str, which: str) -> Fraction:
    return named[rate] * named[MINUTES[which]] / 60


def test_a_reader_can_work_each_term_out_from_the_inputs_shown() -> None:
    seen = set()
    for seed in range(200):
        job = made.job(seed)
        steps = {step.uid: step for step in job.budget.steps}
        for spent in job.spent:
            step = steps.get(spent.uid)
            if step is None or None in (step.rate, step.overhead_rate, step.again_rate, step.again_overhead_rate):
                continue
            for figure in explain(step, spent, "EUR"):
                named = {item.name: Fraction(item.value) for item in figure.inputs}
                if figure.formula in RECIPES:
                    assert abs(RECIPES[figure.formula](named) - Fraction(figure.value)) < NEXT_TO_NOTHING
                    seen.add(figure.formula)
    assert seen == set(RECIPES)


def test_material_is_explained_by_what_went_in_and_what_was_to_go_in() -> None:
    """Hand-worked: .6 l for 10.80 and .1 l again for 2.00; .5 l at 16.00 quoted, .80 allowed."""
    first, again = Outlay(used=(Used("paint", D("0.6"), D("10.80")),)), Outlay(used=(Used("paint", D("0.1"), D(2)),))
    figures = {figure.formula: figure for figure in explain(tank(), Spent("tank", first, again, done=True), "EUR")}
    named = {name: {item.name: item.value for item in figures[name].inputs} for name in figures}
    standard = {"paint, standard quantity": D("0.5"), "paint, standard price": D(16)}
    went_in = {"paint, used in the first pass": D("0.6"), "paint, cost in the first pass": D("10.80")}
    went_in_again = {"paint, used again": D("0.1"), "paint, cost again": D(2)}
    assert named["material_usage"] == standard | went_in
    assert named["material_price"] == standard | went_in | went_in_again
    assert named["material_rework"] == standard | went_in_again | {"rework allowance": D("0.80")}


def test_nothing_spent_has_no_terms() -> None:
    assert of_job(JobBudget(()), []).terms.total == 0
    assert add_up([]) == Terms()
    assert all_of([]) == 0


def test_the_wrong_budget_and_the_same_step_twice_are_refused() -> None:
    with pytest.raises(BadInput, match="of tank"):
        of_step(tank(), Spent("frame"))
    with pytest.raises(BadInput, match="twice"):
        of_job(JobBudget((tank(),)), [Spent("tank"), Spent("tank")])
