"""Published job cost sheets, rebuilt as restorations and priced by the engine.

Source: OpenStax, *Principles of Accounting, Volume 2: Managerial Accounting*, chapter 4 (job-order costing); figures
only. The book gives labour as money; here it is minutes at 60 an hour unless a row gives its own hours and rate.
"""

from decimal import Decimal

import pytest

from quotes.engine.inputs import Measure, OverheadBy, Part, PriceBy, Usage, Work
from quotes.engine.pricing import margin, markup, overhead_rate
from quotes.engine.results import Line, Result
from tests.engine.build import consumable, grade, operation, part, policy, priced, purchase, step

D = Decimal
BY_THE_HOUR = operation("labour", run=D(60), measure=Measure.HOUR)


def hours(uid: str, money: object, rate: object = 60) -> object:
    """A labour step worth ``money`` at ``rate`` an hour."""
    return step(uid, ref="labour", quantity=D(money) / D(rate))  # type: ignore[arg-type]


def bought(uid: str, ref: str) -> object:
    return step(uid, ref=ref, work=Work.PURCHASE)


def sheet(
    *parts: Part, overhead: str, by: OverheadBy = OverheadBy.LABOUR, rate: object = 60, **changes: object
) -> Result:
    how = policy(overhead_by=by, overhead_rate=D(overhead), **changes.pop("policy", {}))  # type: ignore[arg-type]
    catalogue: dict[str, object] = {
        "grades": (grade(cost_rate=D(rate), **changes.pop("grade", {})),),  # type: ignore[arg-type]
        "operations": (BY_THE_HOUR,),
    }
    return priced(*parts, policy=how, **(catalogue | changes)).result


def direct_material(line: Line) -> Decimal:
    """The book's direct material: what is bought for the job, in pieces or in packs."""
    return line.material + line.bought_in


def test_the_predetermined_overhead_rate() -> None:
    """Section 4.4: budgeted overhead 250,000 on direct labour of 100,000 is 2.50 per unit of labour money."""
    budget = [5_000, 20_000, 75_000, 90_000, 35_000, 25_000]
    assert sum(budget) == 250_000
    assert overhead_rate(D(sum(budget)), D(100_000)) == D("2.50")


def job_mac001() -> Result:
    """Section 4.5, the job cost sheet: six materials, three labour entries, overhead at 2.50.

    Ink, vinyl and timber are consumables used by the step that needs them, grommets bought in by the piece. The text
    beside the book's picture of the sheet says a rate of 1.50; its own figures need 2.50.
    """
    stock = [("vinyl", 300, 1), ("black ink", 50, 2), ("red ink", 60, 1), ("gold ink", 60, 1), ("timber", "1.50", 40)]
    stuff = tuple(consumable(name, pack_price=D(cost)) for name, cost, _ in stock)
    used = operation(
        "materials", run=D(0), measure=Measure.BATCH, usages=tuple(Usage(name, D(amount)) for name, _, amount in stock)
    )
    billboard = part(
        "billboard",
        step("materials", ref="materials"),
        hours("printing", 15),  # type: ignore[arg-type]
        hours("finishing", 15),  # type: ignore[arg-type]
        hours("installing", 36),  # type: ignore[arg-type]
        step("grommets", ref="grommet", work=Work.PURCHASE),
        pieces=12,
    )
    return sheet(
        billboard,
        overhead="2.50",
        policy={
            name: D("0.5345") for name in ("labour_margin", "overhead_margin", "material_margin", "bought_in_margin")
        },
        consumables=stuff,
        operations=(BY_THE_HOUR, used),
        purchases=(purchase("grommet", unit_price=D(10)),),
    )


def test_a_job_cost_sheet_by_its_cost_classes() -> None:
    """Section 4.5: material 700, labour 66, overhead 165, together 931."""
    (line,) = job_mac001().lines
    assert direct_material(line) == 700
    assert (line.labour, line.overhead, line.cost) == (66, 165, 931)


def test_the_jobs_revenue_gives_its_gross_profit_and_back() -> None:
    """Section 4.5: revenue 2,000, gross profit 1,069. The margin of 53.45 % is computed, and gives the price again."""
    result = job_mac001()
    assert result.price == 2_000
    assert result.price - result.cost == 1_069
    assert margin(D(2_000), D(931)) == D("0.5345")


def test_the_material_of_all_jobs_is_what_the_stock_take_says_was_used() -> None:
    """Section 4.5: 2,500 at the start + 10,500 bought − 11,600 at the end = 1,400, on three jobs of 200, 700 and 500."""
    amounts = {"one": 200, "two": 700, "three": 500}
    jobs = [part(name, bought(name + " material", name)) for name in amounts]  # type: ignore[arg-type]
    result = sheet(
        *jobs, overhead="0", purchases=tuple(purchase(name, unit_price=D(amount)) for name, amount in amounts.items())
    )
    assert [line.bought_in for line in result.lines] == list(amounts.values())
    assert result.cost == 2_500 + 10_500 - 11_600


@pytest.mark.parametrize(
    ("actual", "difference"),
    [
        ([4_500, 18_000, 84_000, 90_000, 35_000, 25_000], 6_500),  # section 4.6: underapplied
        ([248_000], -2_000),  # section 4.6: overapplied
    ],
)
def test_applied_overhead_against_the_actual(actual: list[int], difference: int) -> None:
    """Labour of 100,000 has 250,000 of overhead applied to it, whatever the year then costs."""
    result = sheet(part("the year", hours("labour", 100_000)), overhead="2.50")  # type: ignore[arg-type]
    (line,) = result.lines
    assert line.overhead == 250_000
    assert sum(actual) - line.overhead == difference


def test_a_repair_job_from_cost_to_bill() -> None:
    """Section 4.8, a service job: a part of 42, 3 h at 25, overhead equal to labour; billed 70 and 3 h at 80.

    Cost 192 and bill 310 are the book's; margins and markups are computed from them. (The diagnosis fee of 50 is
    billed apart.)
    """
    repair = part("repair", hours("work", 75, 25), bought("part", "part"))  # type: ignore[arg-type]
    result = sheet(
        repair,
        overhead="1",
        rate=25,
        grade={"charge_rate": D(80)},
        policy={"price_by": PriceBy.CHARGE_OUT, "bought_in_margin": D("0.40")},
        purchases=(purchase("part", unit_price=D(42)),),
    )
    (line,) = result.lines
    assert (line.bought_in, line.labour, line.overhead, line.cost) == (42, 75, 75, 192)
    assert result.price == 310
    assert result.price - result.cost == 118
    assert margin(D(310), D(192)).quantize(D("0.0001")) == D("0.3806")
    assert markup(D(310), D(192)).quantize(D("0.0001")) == D("0.6146")
    assert markup(D(70), D(42)).quantize(D("0.0001")) == D("0.6667")
    assert margin(D(70), D(42)) == D("0.40")


@pytest.mark.parametrize(
    ("material", "labour", "total"), [(7_560, 3_760, 16_020), (1_525, 3_824, 10_129), (3_290, 3_796, 11_831)]
)
def test_three_jobs_with_overhead_of_one_and_a_quarter_of_labour(material: int, labour: int, total: int) -> None:
    """Section 4.4, exercise (jobs 13 to 15): inputs from the book, totals computed."""
    job = part("job", hours("labour", labour), bought("material", "material"))  # type: ignore[arg-type]
    result = sheet(job, overhead="1.25", purchases=(purchase("material", unit_price=D(material)),))
    assert result.cost == total


def test_an_overhead_rate_per_labour_hour() -> None:
    """Section 4.5, exercise: labour 36,550 at 17 an hour, 73,100 of overhead applied: 34.00 per hour, computed."""
    worked = D(36_550) / 17
    assert overhead_rate(D(73_100), worked) == D("34.00")
    job = part("job", hours("labour", 36_550, 17))  # type: ignore[arg-type]
    (line,) = sheet(job, overhead="34", by=OverheadBy.HOURS, rate=17).lines
    assert (line.minutes, line.labour, line.overhead) == (worked * 60, 36_550, 73_100)
