"""The ledger: balanced whatever happens, and its accounts are what the jobs say. Published figures: `tests.truth.test_cost_flow`."""

from collections import Counter
from decimal import Decimal
from fractions import Fraction

import pytest

from quotes.engine.errors import BadInput
from quotes.engine.margin import ledger
from quotes.engine.margin.ledger import Account, Entry, Flow, Posting, absorbed, balances, manufactured
from tests.engine.made import Chance

D = Decimal


def some_year(seed: int) -> tuple[list[Entry], dict[str, Counter[str]]]:
    """Random flows of a few jobs, and beside them what each job is said to have cost and stand at, kept by plain counting."""
    by, entries, jobs = Chance(seed), [], {f"B-{n}": Counter[str]() for n in range(1, 6)}
    for _ in range(by.randint(5, 80)):
        job = by.choice(list(jobs))
        stage, amount = jobs[job], by.number(0, 900)
        into = Account.COST_OF_SALES if stage["out"] else Account.IN_PROGRESS
        what = by.randrange(9)
        if what < 4 and not stage["ready"] - stage["out"]:
            flow = (ledger.used, ledger.worked, ledger.charged, ledger.applied)[what]
            entries.append(flow(amount, job, into=into))
            stage["sold" if stage["out"] else "in"] += amount  # type: ignore[assignment]
        elif what == 4:
            entries += [ledger.bought(amount), ledger.incurred(amount), ledger.used(amount), ledger.worked(amount)]
        elif what == 5 and not stage["out"]:
            entries.append(ledger.deposited(amount, job))
            stage["deposit"] += amount  # type: ignore[assignment]
        elif what == 6 and not stage["ready"]:
            entries.append(ledger.finished(D(stage["in"]), job))
            stage["ready"] = 1
        elif what == 7 and stage["ready"] and not stage["out"]:
            deposits = D(stage["deposit"])
            entries.append(ledger.handed_over(job, cost=D(stage["in"]), net=amount, tax=amount / 5, deposits=deposits))
            stage.update(out=1, sold=stage["in"], owed=amount + amount / 5 - deposits)  # type: ignore[arg-type]
        elif what == 8:
            entries += [ledger.received(amount, job), ledger.paid(amount, Account.SUPPLIERS)]
            stage["owed"] -= amount  # type: ignore[assignment]
    return entries, jobs


@pytest.mark.parametrize("seed", range(120))
def test_all_balances_together_are_nought_and_each_job_is_where_it_stands(seed: int) -> None:
    entries, jobs = some_year(seed)
    found = balances(entries)
    assert found.total == 0
    assert sum(found.accounts.values()) == 0
    for job, stage in jobs.items():
        in_work = 0 if stage["ready"] else stage["in"]
        ready = stage["in"] if stage["ready"] and not stage["out"] else 0
        assert found.of(Account.IN_PROGRESS, job) == in_work
        assert found.of(Account.FINISHED, job) == ready
        assert found.of(Account.COST_OF_SALES, job) == stage["sold"]
        assert found.of(Account.CUSTOMERS, job) == stage["owed"]
        assert found.of(Account.DEPOSITS, job) == (0 if stage["out"] else -stage["deposit"])


@pytest.mark.parametrize("seed", range(60))
def test_week_after_week_is_the_whole_year(seed: int) -> None:
    entries, _ = some_year(seed)
    at = len(entries) // 3
    first = balances(entries[:at])
    assert balances(entries[at:], opening=first).accounts == balances(entries).accounts


@pytest.mark.parametrize("seed", range(60))
def test_what_is_finished_by_the_schedule_is_what_left_work_in_progress(seed: int) -> None:
    entries, _ = some_year(seed)
    at = len(entries) // 2
    opening = balances(entries[:at])
    found = manufactured(entries[at:], opening=opening)
    left = [p.amount for e in entries[at:] if e.flow is Flow.FINISHED for p in e.postings if p.amount > 0]
    assert found.finished == sum(left, D(0))


@pytest.mark.parametrize("seed", range(60))
def test_the_end_of_a_year_leaves_no_overhead_on_its_accounts(seed: int) -> None:
    entries, _ = some_year(seed)
    year = balances(entries)
    after = balances([absorbed(year)], opening=year)
    assert (after.of(Account.OVERHEAD), after.of(Account.APPLIED), after.total) == (0, 0, 0)
    moved = Fraction(after.of(Account.COST_OF_SALES)) - Fraction(year.of(Account.COST_OF_SALES))
    assert moved == Fraction(year.under_absorbed)


def test_a_deposit_is_owed_until_the_bike_is_handed_over() -> None:
    """Hand-worked: 600 before; sold for 2,000 with 400 of tax: 1,800 still to come."""
    before = balances([ledger.deposited(D(600), "B-7")])
    assert (before.of(Account.DEPOSITS), before.of(Account.SALES)) == (-600, 0)
    sale = ledger.handed_over("B-7", cost=D(931), net=D(2_000), tax=D(400), deposits=D(600))
    after = balances([sale], opening=before)
    assert (after.of(Account.DEPOSITS), after.of(Account.SALES), after.of(Account.TAX)) == (0, -2_000, -400)
    assert (after.of(Account.CUSTOMERS, "B-7"), after.of(Account.BANK)) == (1_800, 600)


def test_what_is_of_no_job_is_overhead() -> None:
    found = balances([ledger.worked(D(50)), ledger.used(D(20)), ledger.incurred(D(30))])
    assert (found.of(Account.OVERHEAD), found.of(Account.IN_PROGRESS)) == (100, 0)


def test_an_entry_with_one_side_is_refused() -> None:
    with pytest.raises(BadInput, match="differ by 1"):
        Entry(Flow.WORKED, (Posting(Account.IN_PROGRESS, D(10), "B-7"), Posting(Account.WAGES, D(-9))))
