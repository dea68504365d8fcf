"""Published cost flows of job-order costing, through the ledger.

Source: OpenStax, *Principles of Accounting, Volume 2: Managerial Accounting*, chapter 4, a maker of billboards; figures only.
"""

from decimal import Decimal

import pytest

from quotes.engine.margin import ledger
from quotes.engine.margin.ledger import Account, absorbed, balances, manufactured

D = Decimal
SHELF = balances([ledger.bought(D(2_500))])
#: Section 4.5: bought 10,500; used 200, 700 and 500; labour of the second job 15 + 15 + 36 and overhead at 2.50 of it.
MONTH = [
    ledger.bought(D(10_500)),
    *(ledger.used(D(amount), job) for job, amount in (("job 1", 200), ("job 2", 700), ("job 3", 500))),
    *(ledger.worked(D(amount), "job 2") for amount in (15, 15, 36)),
    ledger.applied(D("2.50") * (15 + 15 + 36), "job 2"),
]


def test_material_used_is_what_the_stock_take_says() -> None:
    """2,500 + 10,500 − 11,600 = 1,400 = 200 + 700 + 500."""
    found = manufactured(MONTH, opening=SHELF)
    assert (found.materials_before, found.bought, found.materials_after) == (2_500, 10_500, 11_600)
    assert found.materials_used == 1_400


def test_the_job_sheet_is_the_ledger_of_work_in_progress() -> None:
    """Material 700, labour 66, overhead 165: 931 (the text beside its picture says a rate of 1.50, which does not give it)."""
    found = balances(MONTH, opening=SHELF)
    assert found.of(Account.IN_PROGRESS, "job 2") == 931
    assert found.of(Account.IN_PROGRESS) == sum(found.of(Account.IN_PROGRESS, f"job {n}") for n in (1, 2, 3))


def test_cost_of_the_job_goes_to_finished_and_to_cost_of_sales() -> None:
    """Sold for 2,000: gross profit 1,069. Goods manufactured by the schedule: the one job that was finished."""
    ready = [*MONTH, ledger.finished(D(931), "job 2")]
    sold = ledger.handed_over("job 2", cost=D(931), net=D(2_000), tax=D(0), deposits=D(0))
    found = balances([*ready, sold], opening=SHELF)
    assert manufactured(ready, opening=SHELF).finished == 931
    assert balances(ready, opening=SHELF).of(Account.FINISHED) == 931
    assert (found.of(Account.FINISHED), found.of(Account.COST_OF_SALES)) == (0, 931)
    assert -found.of(Account.SALES) - found.of(Account.COST_OF_SALES) == 1_069
    assert found.total == 0


@pytest.mark.parametrize(
    ("actual", "under"), [([4_500, 18_000, 84_000, 90_000, 35_000, 25_000], 6_500), ([248_000], -2_000)]
)
def test_overhead_of_a_year_is_under_or_over_applied_and_goes_to_cost_of_sales(actual: list[int], under: int) -> None:
    """Section 4.6: 250,000 applied; 256,500 or 248,000 actual."""
    year = balances([*(ledger.incurred(D(amount)) for amount in actual), ledger.applied(D(250_000), "the year")])
    assert year.under_absorbed == under
    after = balances([absorbed(year)], opening=year)
    assert (after.of(Account.COST_OF_SALES), after.under_absorbed, after.total) == (under, 0, 0)


@pytest.mark.parametrize(
    ("material", "labour", "cost"), [(7_560, 3_760, 16_020), (1_525, 3_824, 10_129), (3_290, 3_796, 11_831)]
)
def test_three_jobs_with_overhead_of_one_and_a_quarter_of_labour(material: int, labour: int, cost: int) -> None:
    """Section 4.4, exercise (jobs 13 to 15): inputs from the book, sums computed."""
    flows = [ledger.used(D(material), "job"), ledger.worked(D(labour), "job")]
    flows.append(ledger.applied(D(labour) * D("1.25"), "job"))
    assert balances(flows).of(Account.IN_PROGRESS, "job") == cost


def test_a_repair_job_with_its_part_from_the_counter() -> None:
    """Section 4.8: part 42, 3 h at 25, overhead equal to labour; billed 310: cost 192, gross profit 118."""
    flows = [ledger.charged(D(42), "repair"), ledger.worked(D(75), "repair"), ledger.applied(D(75), "repair")]
    assert balances(flows).of(Account.IN_PROGRESS, "repair") == 192
    flows += [
        ledger.finished(D(192), "repair"),
        ledger.handed_over("repair", cost=D(192), net=D(310), tax=D(0), deposits=D(0)),
    ]
    found = balances(flows)
    assert -found.of(Account.SALES) - found.of(Account.COST_OF_SALES) == 118


def test_overhead_by_the_hour() -> None:
    """Section 4.5, exercise: labour of 36,550 at 17 an hour, 73,100 applied at 34.00 an hour, computed."""
    hours = D(36_550) / 17
    found = balances([ledger.worked(D(36_550), "jobs"), ledger.applied(hours * 34, "jobs")])
    assert -found.of(Account.APPLIED) == 73_100
