"""Published standard-cost variances, through the closing identity of a step. Plus is unfavourable.

Source: OpenStax, *Principles of Accounting, Volume 2: Managerial Accounting*, chapter 8 (sections 8.2 materials, 8.3 labour,
8.4 overhead); figures only, unless a row names another. Intermediates are never rounded.
"""

from decimal import Decimal

import pytest

from quotes.engine.margin.budgets import Item, JobBudget, StepBudget
from quotes.engine.margin.spending import Outlay, Spent, Used
from quotes.engine.margin.variances import Terms, of_job, of_shop, of_step
from quotes.engine.results import Visit

D = Decimal


def material(sq: object, sp: object, aq: object, paid: object) -> Terms:
    """A step of one stuff: standard quantity and price, actual quantity and what it cost."""
    sq, sp, aq, paid = (D(str(one)) for one in (sq, sp, aq, paid))
    budget = StepBudget("x", "x", first=Visit(material=sq * sp), items=(Item("stuff", "unit", sq, sp),))
    return of_step(budget, Spent("x", Outlay(used=(Used("stuff", aq, paid),)), done=True))


def labour(hours: object, rate: object, worked: object, paid: object) -> Terms:
    """A step of labour alone: standard hours and rate, actual hours and what they cost."""
    hours, rate, worked, paid = (D(str(one)) for one in (hours, rate, worked, paid))
    budget = StepBudget("x", "x", first=Visit(minutes=hours * 60, labour=hours * rate), rate=rate)
    return of_step(budget, Spent("x", Outlay(minutes=worked * 60, labour=paid), done=True))


def test_materials_of_one_box() -> None:
    """Section 8.2: .25 lb at 7.00 standard, .50 lb at 9.00: price 1.00, quantity 1.75, total 2.75, all unfavourable."""
    terms = material("0.25", 7, "0.50", "4.50")
    assert (terms.material_price, terms.material_usage, terms.total) == (D("1.00"), D("1.75"), D("2.75"))


@pytest.mark.parametrize(("paid", "variance"), [(6, -20), (9, 40)])
def test_price_of_materials_alone(paid: int, variance: int) -> None:
    """Section 8.2: 20 lb at 7 standard; at 6 it is 20 favourable (the book prints it without its minus sign), at 9 it is 40 over."""
    terms = material(20, 7, 20, 20 * paid)
    assert (terms.material_price, terms.material_usage) == (variance, 0)


def test_materials_of_eleven_thousand_units() -> None:
    """Section 8.2, review problem: 11,000 × 8 oz × .85; 89,000 oz for 74,760 (.84): price 890 F, quantity 850 U, total 40 F."""
    terms = material(11_000 * 8, "0.85", 89_000, 74_760)
    assert (terms.material_price, terms.material_usage, terms.total) == (-890, 850, -40)


def test_labour_of_eleven_thousand_units() -> None:
    """Section 8.3: 11,000 × 1.5 h × 35.00; 16,000 h for 565,600: rate 5,600 U, time 17,500 F, total 11,900 F.

    The text in the figure says 5,650 and a total of 11,900 unfavourable; by its inputs neither is.
    """
    terms = labour(11_000 * D("1.5"), 35, 16_000, 565_600)
    assert (terms.labour_rate, terms.labour_efficiency, terms.total) == (5_600, -17_500, -11_900)


def test_rate_of_variable_overhead() -> None:
    """Section 8.4: 2,000 h at a standard of 2.00 cost 3,500: 500 favourable."""
    budget = StepBudget("x", "x", first=Visit(minutes=D(2_000 * 60), overhead=D(4_000)), overhead_rate=D(2))
    terms = of_step(budget, Spent("x", Outlay(minutes=D(2_000 * 60), overhead=D(3_500)), done=True))
    assert (terms.overhead_rate, terms.overhead_efficiency) == (-500, 0)


def test_materials_by_the_pound() -> None:
    """Source: qammunity.org/8059627: 185,000 lb at 6.00 standard; 183,200 at 5.80: −36,640, −10,800, together −47,440."""
    terms = material(185_000, "6.00", 183_200, 183_200 * D("5.80"))
    assert (terms.material_price, terms.material_usage, terms.total) == (-36_640, -10_800, -47_440)


@pytest.mark.parametrize(
    ("hours", "variable", "total", "per_hour"),
    [(1_800, 3_600, 9_600, "5.33"), (2_000, 4_000, 10_000, "5.00"), (2_200, 4_400, 10_400, "4.73")],
)
def test_a_flexible_budget_splits_what_is_under_absorbed(hours: int, variable: int, total: int, per_hour: str) -> None:
    """Section 8.4: fixed 6,000 and 2.00 an hour at 90, 100 and 110 % of 2,000 h (the text once calls 2,200 units).

    Overhead is applied at the 5.00 of a full month; actual as allowed: nothing is spending, the rest is volume, computed.
    """
    assert 6_000 + variable == total
    assert (D(total) / hours).quantize(D("0.01")) == D(per_hour)
    budget = StepBudget("x", "x", first=Visit(minutes=D(hours * 60), overhead=D(hours * 5)), overhead_rate=D(5))
    spent = Spent("x", Outlay(minutes=D(hours * 60), overhead=D(hours * 5)), done=True)
    job = of_job(JobBudget((budget,)), [spent])
    shop = of_shop([job], overhead_actual=D(total), overhead_allowed=D(total), overhead_applied=D(hours * 5))
    assert (shop.jobs.total, shop.spending, shop.volume) == (0, 0, total - hours * 5)


def test_spending_and_volume_are_what_is_under_absorbed_in_a_year() -> None:
    """Section 4.6: actual 256,500 against 250,000 applied, 6,500 under-applied; 248,000, 2,000 over-applied."""
    for actual, under in ((256_500, 6_500), (248_000, -2_000)):
        shop = of_shop([], overhead_actual=D(actual), overhead_allowed=D(250_000), overhead_applied=D(250_000))
        assert (shop.spending, shop.volume, shop.total) == (under, 0, under)
