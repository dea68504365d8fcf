"""What was spent on a job, from a seed: hours too many and too few, lots that differ, redo, extras, steps not done."""

from dataclasses import dataclass, replace
from decimal import Decimal

from quotes.engine.inputs import Restoration
from quotes.engine.margin.budgets import JobBudget, StepBudget, budget_of
from quotes.engine.margin.spending import NOT_ANY, Outlay, Spent, Used
from quotes.engine.money import rounded
from quotes.engine.rollup import price
from tests.engine import made
from tests.engine.made import Chance

D = Decimal


@dataclass(frozen=True)
class Job:
    budget: JobBudget
    spent: tuple[Spent, ...]


def restoration_of(seed: int) -> Restoration:
    by = Chance(seed)
    policy = replace(made.policy(by.randrange(2**32)), comebacks=by.maybe(by.number(0, 0.03, 3)))
    parts = [by.randrange(2**32) for _ in range(by.randint(1, 3))]
    return made.restoration(made.catalogue(by.randrange(2**32)), policy, parts, fails=True, waits=False)


def budget(seed: int) -> JobBudget:
    given = restoration_of(seed)
    return budget_of(price(given), given)


def job(seed: int) -> Job:
    """A budget from a made restoration, and something spent on most of it and on steps that nobody agreed to."""
    by, found = Chance(seed), budget(seed)
    spent = [_spent(by, step) for step in found.steps if not by.one_in(6)]
    spent += [Spent(item.uid, _outlay(by, (), 0.5), done=by.one_in(2)) for item in found.reserves if not by.one_in(3)]
    spent += [Spent(f"extra {n}", _outlay(by, (), 1), _again(by), done=by.one_in(2)) for n in range(by.randint(0, 2))]
    return Job(found, tuple(spent))


def _spent(by: Chance, step: StepBudget) -> Spent:
    keys = tuple(item.key for item in step.items)
    return Spent(
        step.uid,
        first=_outlay(by, keys, 0.9),
        again=_again(by, keys),
        done=not by.one_in(3),
        batched=by.number(0, 300) if by.one_in(3) else None,
        at_lots=by.number(0, 500) if by.one_in(3) else None,
    )


def _again(by: Chance, keys: tuple[str, ...] = ()) -> Outlay:
    return _outlay(by, keys, 0.7) if by.one_in(3) else NOT_ANY


def _outlay(by: Chance, keys: tuple[str, ...], odds: float) -> Outlay:
    def money(most: int) -> Decimal:
        return rounded(by.maybe(by.number(0, most), odds), digits=2)

    names = (*keys, *(["rags"] if by.one_in(4) else []))
    used = tuple(Used(key, by.number(0, 12, 3), money(90), by.number(0, 40) if by.one_in(2) else None) for key in names)
    minutes = D(by.randint(0, 900))
    return Outlay(minutes, money(900), money(400), used, money(600), money(60), money(300))
