"""The budget of a job is what its quote expects to spend, and its standards give that money again."""

from dataclasses import replace
from decimal import Decimal

import pytest

from quotes.engine.canonical import dump, load
from quotes.engine.inputs import Break, OverheadBy, Remedy, Usage, Work
from quotes.engine.margin.budgets import JobBudget, Kind, budget_of, in_batch, rule_at, together, unbudgeted
from quotes.engine.margin.exact import by_the_hour
from quotes.engine.rollup import price
from tests.engine.build import (
    back,
    close,
    consumable,
    grade,
    operation,
    part,
    policy,
    restoration,
    service,
    step,
)
from tests.engine.margin import made

D = Decimal
SEEDS = range(80)


@pytest.mark.parametrize("seed", SEEDS)
def test_budget_at_completion_is_the_expected_cost_of_the_quote(seed: int) -> None:
    given = made.restoration_of(seed)
    result = price(given).result
    found = budget_of(price(given), given)
    assert close(found.at_completion, result.cost)
    for name in ("labour", "overhead", "material", "vendor", "bought_in"):
        assert close(found.of_class(name), sum((getattr(line, name) for line in result.lines), D(0)))
    kept = sum((item.cost for item in found.reserves if item.kind is Kind.COMEBACKS), D(0))
    assert close(kept, result.comebacks)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_standards_of_a_step_give_its_money_again(seed: int) -> None:
    for found in made.budget(seed).steps:
        if found.rate is not None:
            assert close(by_the_hour(found.first.minutes, found.rate), found.first.labour)
        if found.overhead_rate is not None:
            assert close(by_the_hour(found.first.minutes, found.overhead_rate), found.first.overhead)
        if found.again_rate is not None:
            assert close(by_the_hour(found.allowance.minutes, found.again_rate), found.allowance.labour)
        assert close(sum((item.quantity * item.price for item in found.items), D(0)), found.first.material)
        assert found.work is Work.OPERATION or (found.setup, found.run) == (0, 0)
        if found.rule is not None:
            assert rule_at(found.rule, own=D(0), whole=D(0)) == 0
            assert close(rule_at(found.rule, own=found.rule.own, whole=found.rule.whole), found.rule.charge)
            assert close(found.rule.charge + found.rule.handling, found.first.vendor)
            assert found.rule.handling > -D("1e-20")


def test_a_step_keeps_what_it_was_to_use_and_by_which_rule_it_was_to_be_charged() -> None:
    """Hand-worked: 2 h at 42.00 and 18.00; .5 l of a 4 l pack at 60.00; a minimum of 30.00, trip 6.00, a tenth for handling."""
    coat = operation("coat", setup=D(30), run=D(90), usages=(Usage("paint", D("0.5")),))
    zinc = service("zinc", [(0, 2)], minimum=D(30), trip=D(6))
    given = restoration(
        part("tank", step("coat", "coat"), step("zinc", "zinc", Work.SERVICE), weight=D(10)),
        policy=policy(overhead_rate=D(18), handling_rate=D("0.1")),
        grades=(grade(cost_rate=D(42)),),
        consumables=(consumable(pack_size=D(4), pack_price=D(60)),),
        operations=(coat,),
        services=(zinc,),
    )
    coated, plated = budget_of(price(given), given).steps
    assert (coated.first.minutes, coated.rate, coated.overhead_rate) == (120, 42, 18)
    assert coated.cost == 84 + 36 + D("7.50")
    (paint,) = coated.items
    assert (paint.key, paint.unit, paint.quantity, paint.price) == ("paint", "l", D("0.5"), D(15))
    assert plated.rule is not None
    assert plated.rule.breaks == (Break(D(0), D(2)),)
    assert (plated.rule.charge, plated.rule.handling, plated.first.vendor) == (30, 9, 39)


def test_overhead_on_labour_money_is_a_rate_per_hour_of_who_does_it() -> None:
    given = restoration(
        part("tank", step("work")), policy=policy(overhead_by=OverheadBy.LABOUR, overhead_rate=D("1.5"))
    )
    (found,) = budget_of(price(given), given).steps
    assert (found.rate, found.overhead_rate) == (60, 90)


def test_an_allowance_with_remedies_of_others_has_a_rate_of_its_own() -> None:
    """Hand-worked: a fifth fails; stripping takes the painter (30/h) 60 min, the redo the mechanic (60/h) 60 min."""
    strip = operation("strip", run=D(60), grade="painter")
    coat = operation("coat", run=D(60))
    given = restoration(
        part("tank", step("coat", "coat", ways_back=(back("0.2", "coat", Remedy(Work.OPERATION, "strip")),))),
        grades=(grade(), grade("painter", cost_rate=D(30))),
        operations=(coat, strip),
    )
    (found,) = budget_of(price(given), given).steps
    # A quarter of a redo is expected, and a quarter of a remedy: 15 min each.
    assert (found.allowance.minutes, found.allowance.labour) == (30, D("22.5"))
    assert found.again_rate == 45
    assert found.rate == 60


def test_a_variation_stands_over_what_it_changes_and_takes_out_what_it_says() -> None:
    given = restoration(part("tank", step("strip"), step("coat")), policy=policy(comebacks=D("0.1")))
    quoted = budget_of(price(given), given)
    dearer = replace(given, operations=(operation(run=D(5)),))
    varied = together([quoted, budget_of(price(dearer), dearer)], taken_out=["coat"])
    assert [(item.uid, item.cost) for item in varied.steps] == [("strip", D(5))]
    assert [item.cost for item in varied.reserves] == [D("1.0")]


def test_a_step_nobody_agreed_to_has_no_budget_and_no_standard() -> None:
    found = unbudgeted("x", "tank")
    assert (found.cost, found.minutes, found.rate, found.overhead_rate) == (0, 0, None, None)


@pytest.mark.parametrize("seed", SEEDS)
def test_set_up_and_run_time_are_the_first_pass_of_a_step_alone(seed: int) -> None:
    """Priced with nothing mixed and no limits of places: whoever is alone in a batch pays one set-up and its run time."""
    given = made.restoration_of(seed)
    free = tuple(replace(item, capacity=D(0), shares_setup=False) for item in given.operations)
    alone = replace(given, operations=free, policy=replace(given.policy, mixed_share=D(0)))
    for found in budget_of(price(alone), alone).steps:
        if found.work is Work.OPERATION:
            assert close(found.setup + found.run, found.first.minutes)
            assert found.run == 0 or close(in_batch(found, run_together=found.run), found.first.minutes)


def test_the_batch_done_gives_the_minutes_that_a_quote_of_that_batch_would_give() -> None:
    """Quoted apart, done together: what the quote of both together says of each."""
    blast = operation("blast", setup=D(20), run=D(10), allowance=D("0.15"))
    parts = [part(uid, step(uid, "blast"), pieces=pieces) for uid, pieces in (("fork", 1), ("frame", 3))]
    together_given = restoration(*parts, operations=(blast,))
    apart_given = restoration(*parts, operations=(replace(blast, shares_setup=False),))
    apart = budget_of(price(apart_given), apart_given).steps
    whole = sum((item.run for item in apart), D(0))
    for quoted, mixed in zip(apart, budget_of(price(together_given), together_given).steps, strict=True):
        assert quoted.first.minutes > mixed.first.minutes
        assert close(in_batch(quoted, run_together=whole), mixed.first.minutes)


@pytest.mark.parametrize("seed", range(40))
def test_a_budget_can_be_kept_as_text_and_read_again(seed: int) -> None:
    found = made.budget(seed)
    assert load(JobBudget, dump(found)) == found
