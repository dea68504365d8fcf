"""The cost sheet: everything behind a price, and it adds up."""

from decimal import Decimal
from random import Random

import pytest

from quotes.engine.inputs import Measure, Usage
from quotes.engine.results import Explained
from quotes.engine.rollup import price
from quotes.pricing.models import Draft
from quotes.pricing.selectors import priced
from quotes.pricing.sheet import MOST_AT_ONCE, Sheet, rows, sheet
from quotes.pricing.templatetags.pricing_text import figure
from tests.engine import build

D = Decimal


def restoration(chance: Random, parts: int, **policy: object) -> object:
    """Odd rates and sizes, so that nothing comes out even."""
    operations = tuple(
        build.operation(
            f"op{n}", setup=D(7) / 3, run=D(n + 1) / 7, measure=Measure.DM2, usages=(Usage("paint", D("0.013")),)
        )
        for n in range(4)
    )
    made = tuple(
        build.part(
            f"p{n:03}",
            *[
                build.step(f"p{n:03}s{k}", f"op{k}", ways_back=(build.back("0.07", f"p{n:03}s0"),))
                for k in range(n % 5)
            ][:4],
            build.step(f"p{n:03}buy", "bearing", work=build.Work.PURCHASE),
            area=D(chance.randint(1, 4000)) / 7,
            pieces=chance.randint(0, 3),
        )
        for n in range(parts)
    )
    kept = D(chance.choice(("0", "0.02", "0.0133")))
    rules = build.policy(overhead_rate=D("18.73"), labour_margin=D("0.4"), floor=D("0.2"), comebacks=kept, **policy)
    return build.restoration(*made, operations=operations, policy=rules, discount=D(chance.randint(0, 30)) / 100)


@pytest.fixture(params=range(30))
def made(request: pytest.FixtureRequest) -> tuple[Explained, Sheet]:
    chance = Random(request.param)
    given = restoration(chance, chance.randint(1, 25), currency=chance.choice(["EUR", "JPY", "KWD"]))
    explained = price(given)
    return explained, sheet(explained, given)


def test_every_row_and_every_column_adds_up_as_shown(made: tuple[Explained, Sheet]) -> None:
    _explained, shown = made
    assert sum(shown.costs) == shown.cost == sum(part.cost for part in shown.parts)
    for part in shown.parts:
        assert sum(part.costs) == part.cost == sum(step.cost for step in part.steps)
        assert part.price - part.discount == part.net
    for column, total in enumerate(shown.costs):
        assert sum(part.costs[column] for part in shown.parts) == total
    assert sum(part.allowance for part in shown.parts) == shown.allowance
    assert sum(part.comebacks for part in shown.parts) == shown.comebacks
    assert sum(part.price for part in shown.parts) == shown.price
    assert shown.net - shown.cost == shown.left


def test_what_is_shown_is_less_than_a_minor_unit_off(made: tuple[Explained, Sheet]) -> None:
    explained, shown = made
    unit = D(1).scaleb({"EUR": -2, "JPY": 0, "KWD": -3}[shown.currency])
    assert abs(shown.cost - explained.result.cost) <= unit / 2
    for line, part in zip(explained.result.lines, shown.parts, strict=True):
        assert abs(part.cost - line.cost) < unit
        assert abs(part.costs[0] - line.labour) < 2 * unit


def test_what_is_kept_for_comebacks_stands_among_the_steps_with_where_it_comes_from() -> None:
    """Half an hour at 60 is 30 and a bearing 12; 2.5 % of 42 is 1.05."""
    work, bought = build.step("a", "work"), build.step("b", "bearing", build.Work.PURCHASE)
    given = build.restoration(
        build.part("tank", work, bought),
        operations=(build.operation(run=D(30)),),
        purchases=(build.purchase(unit_price=D(12)),),
        policy=build.policy(comebacks=D("0.025"), source="policy of May"),
    )
    shown = sheet(price(given), given)
    (tank,) = shown.parts
    assert (shown.comebacks, tank.comebacks, tank.cost) == (D("1.05"), D("1.05"), D("43.05"))
    assert [(step.name, step.cost) for step in tank.steps][-1] == ("Kept for comebacks", D("1.05"))
    said = [(row.name, row.value, row.source) for row in tank.steps[-1].rows()]
    assert said[1:] == [
        ("expected cost without it", D(42), "steps of this part"),
        ("kept of expected cost", D("0.025"), "policy of May"),
    ]


def test_minutes_of_the_steps_are_the_minutes_of_the_part(made: tuple[Explained, Sheet]) -> None:
    for part in made[1].parts:
        assert abs(sum(step.minutes for step in part.steps) - part.minutes) < D("1e-20")


def test_the_floor_shown_is_the_least_price_that_keeps_it() -> None:
    given = build.restoration(
        build.part("p", build.step("s", work=build.Work.PURCHASE, ref="bearing")),
        policy=build.policy(floor=D("0.3"), bought_in_margin=D("0.29999")),
    )
    explained = price(given)
    shown = sheet(explained, given)
    # 10 / 0.7 = 14.2857..., 10 / 0.70001 = 14.2855...: both are 14.29 in cents, so the price just keeps the floor.
    assert (shown.floor_price, shown.net, shown.below_floor) == (D("14.29"), D("14.29"), False)
    cheaper = build.restoration(*given.parts, policy=build.policy(floor=D("0.31"), bought_in_margin=D("0.31")))
    # 10 / 0.69 = 14.4927...: sold for 14.49, which is under it; 14.50 is the least.
    shown = sheet(price(cheaper), cheaper)
    assert (shown.floor_price, shown.net, shown.below_floor) == (D("14.50"), D("14.49"), True)


#: Worked out on the way from what stands beside them; the rest says its formula or its source.
BESIDE = {"own quantity", "own run time", "expected failures"}


@pytest.mark.django_db
def test_every_figure_opens_to_its_formula_or_its_source(draft: Draft) -> None:
    found = priced(draft)
    parts = sheet(found.explained, found.given).parts
    opened = [row for part in parts for behind in (part, *part.steps) for row in behind.rows()]
    assert len(opened) > 100
    assert {row.name for row in opened if not row.formula and not row.source} <= BESIDE


def test_all_of_a_step_s_figures_are_there_and_what_stands_twice_is_opened_once() -> None:
    explained = price(restoration(Random(2), 5))
    for step in explained.steps:
        listed = rows(step.figure)
        assert {(f.name, f.value) for _depth, f in step.figure.walk()} == {(row.name, row.value) for row in listed}
        for place, row in enumerate(listed):
            above = [(one.name, one.value, one.formula) for one in listed[:place] if not one.again]
            assert not row.again or (row.name, row.value, row.formula) in above
    assert any(row.again for step in explained.steps for row in rows(step.figure))


def test_a_big_sheet_is_not_opened_all_at_once() -> None:
    small, big = restoration(Random(1), 5), restoration(Random(1), 120)
    assert sheet(price(small), small).all_at_once
    explained = price(big)
    assert not sheet(explained, big).all_at_once
    assert sum(len(rows(step.figure)) for step in explained.steps) > MOST_AT_ONCE


@pytest.mark.django_db
def test_a_draft_shows_the_same_sheet_as_the_quote_issued_from_it(draft: Draft) -> None:
    from quotes.pricing.verify import recomputed
    from tests.pricing.workshop import issue

    found = priced(draft)
    again = recomputed(issue(draft))
    before, after = sheet(found.explained, found.given), sheet(again.explained, again.given)
    assert before.parts == after.parts
    assert before == after


SHOWN = [
    ("66.66666667", "EUR", "€66.6667"),
    ("31.3", "EUR/h", "€31.30/h"),
    ("14.45", "EUR/kg", "€14.45/kg"),
    ("7.0000", "dm2", "7\u00a0dm²"),
    ("1.35", "min/dm2", "1.35\u00a0min/dm²"),
    ("1.2", "g/cm3", "1.2\u00a0g/cm³"),
    ("0.35", "", "0.35"),
    ("0.00001234", "l", "0.00001234\u00a0l"),
    ("0", "min", "0\u00a0min"),
    ("1234.5", "JPY", "JP¥1,234.5"),
]


@pytest.mark.parametrize(("value", "unit", "shown"), SHOWN)
def test_a_figure_is_shown_with_its_unit(value: str, unit: str, shown: str) -> None:
    assert figure(D(value), unit) == shown
