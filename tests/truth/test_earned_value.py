"""Published earned value figures."""

from decimal import Decimal

from quotes.engine.margin.budgets import JobBudget, StepBudget
from quotes.engine.margin.earned import Progress, Rule, progress
from quotes.engine.results import Visit

D = Decimal


def to(number: Decimal | None, places: str) -> Decimal:
    assert number is not None
    return number.quantize(D(places))


def test_a_project_of_five_periods_in_its_third() -> None:
    """Source: P. Govan, *PRA* (book, chapter 5): BAC 500,000, plan .10/.25/.50/…, 40 % done, 45,000 + 110,000 + 135,000 spent.

    The text calls BAC / CPI the highest of the three estimates; by its own figures the combined one is.
    """
    bac = D(500_000)
    day = Progress(bac, bac * D("0.50"), bac * D("0.40"), D(45_000 + 110_000 + 135_000))
    assert (day.planned, day.earned, day.actual) == (250_000, 200_000, 290_000)
    assert (day.schedule_variance, day.cost_variance) == (-50_000, -90_000)
    assert (to(day.schedule_index, ".01"), to(day.cost_index, ".001")) == (D(".80"), D(".690"))
    estimates = {rule: day.estimate(rule) for rule in Rule}
    assert estimates == {
        Rule.AS_BUDGETED: 590_000,
        Rule.AS_SO_FAR: 725_000,
        Rule.AS_SO_FAR_AND_LATE: 833_750,
    }
    assert max(estimates, key=lambda rule: estimates[rule] or D(0)) is Rule.AS_SO_FAR_AND_LATE
    assert (day.to_complete(D(725_000)), day.at_completion_variance(D(725_000))) == (435_000, -225_000)
    assert to(day.index_to_complete(bac), ".001") == D("1.429")
    assert to(day.index_to_complete(D(725_000)), ".001") == D(".690")


def test_three_tasks_of_which_one_is_done() -> None:
    """Source: wnwk.com/doc/3476926: 200, 200 and 100; 300 planned, 200 earned, 250 spent.

    ETC 375, VAC −125 and TCPI 1.20 are computed.
    """
    tasks = [
        StepBudget(uid, "project", first=Visit(labour=D(cost))) for uid, cost in (("a", 200), ("b", 200), ("c", 100))
    ]
    day = progress(JobBudget(tuple(tasks)), due=["a", "c"], done=["a"], actual=D(250))
    assert day == Progress(D(500), D(300), D(200), D(250))
    assert (day.cost_variance, day.schedule_variance) == (-50, -100)
    assert (to(day.cost_index, ".01"), to(day.schedule_index, ".01")) == (D(".80"), D(".67"))
    estimate = day.estimate(Rule.AS_SO_FAR)
    assert estimate == 625
    assert (day.to_complete(D(625)), day.at_completion_variance(D(625))) == (375, -125)
    assert day.index_to_complete(D(500)) == D("1.2")


def test_how_well_the_rest_must_go() -> None:
    """Source: the same page: EV 3 million, AC 3.5 million, CPI .857, TCPI 1.077; the budget of 10 million is inferred."""
    day = Progress(D(10_000_000), D(0), D(3_000_000), D(3_500_000))
    assert to(day.cost_index, ".001") == D(".857")
    assert to(day.index_to_complete(day.at_completion), ".001") == D("1.077")
