"""Earned value: what the work done so far was worth by the budget, against what was planned and what it cost.

A step earns its whole budget when it is done and nothing before (0/100); what is earned is never taken back. Plus is good
for variances (EV − AC, EV − PV), above 1 for indices. Three rules say what a job will cost when it is done:

    AC + (BAC − EV)                  what is left goes as budgeted
    BAC / CPI                        what is left costs as what is done did
    AC + (BAC − EV) / (CPI × SPI)    and being late costs too

| BAC 500,000; half of it planned, 40 % done, 290,000 spent |             |
| CV −90,000, SV −50,000, CPI .690, SPI .80                 |             |
| AC + (BAC − EV)                                           |     590,000 |
| BAC / CPI                                                 |     725,000 |
| AC + (BAC − EV) / (CPI × SPI)                             |     833,750 |

The review itself speaks of money that a job will still leave (`forecast`), which knows what is on order and what mechanics
say; these figures are for whoever compares jobs by the book. Source of the rules: EIA-748 and the DOE guide to it, as listed
by P. Govan, *PRA*.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from quotes.engine.margin.budgets import JobBudget
from quotes.engine.margin.exact import added, less, ratio
from quotes.engine.money import CONTEXT


class Rule(StrEnum):
    """How the rest of a job is expected to go."""

    AS_BUDGETED = "as budgeted"
    AS_SO_FAR = "as so far"
    AS_SO_FAR_AND_LATE = "as so far, and late"


@dataclass(frozen=True, slots=True)
class Progress:
    """Budget at completion (BAC), planned value (PV), earned value (EV), actual cost (AC) at one day [money]."""

    at_completion: Decimal
    planned: Decimal
    earned: Decimal
    actual: Decimal

    @property
    def cost_variance(self) -> Decimal:
        """CV = EV − AC [money]."""
        return less(self.earned, self.actual)

    @property
    def schedule_variance(self) -> Decimal:
        """SV = EV − PV [money]."""
        return less(self.earned, self.planned)

    @property
    def cost_index(self) -> Decimal | None:
        """CPI = EV / AC, None before anything was spent."""
        return ratio(self.earned, self.actual)

    @property
    def schedule_index(self) -> Decimal | None:
        """SPI = EV / PV, None before anything was planned."""
        return ratio(self.earned, self.planned)

    @property
    def left(self) -> Decimal:
        """BAC − EV: the budget of what is not done [money]."""
        return less(self.at_completion, self.earned)

    def estimate(self, rule: Rule) -> Decimal | None:
        """Estimate at completion (EAC) by ``rule`` [money]; None where the rule divides by nothing.

        >>> Progress(Decimal(500), Decimal(300), Decimal(200), Decimal(250)).estimate(Rule.AS_SO_FAR)
        Decimal('625')
        """
        if rule is Rule.AS_BUDGETED:
            return added((self.actual, self.left))
        if not self.earned:
            return None
        if rule is Rule.AS_SO_FAR:
            return CONTEXT.divide(CONTEXT.multiply(self.at_completion, self.actual), self.earned)
        # / (CPI × SPI) in one fraction: rounded once.
        over = CONTEXT.multiply(CONTEXT.multiply(self.left, self.actual), self.planned)
        return CONTEXT.add(self.actual, CONTEXT.divide(over, CONTEXT.multiply(self.earned, self.earned)))

    def to_complete(self, estimate: Decimal) -> Decimal:
        """ETC = EAC − AC [money]."""
        return less(estimate, self.actual)

    def at_completion_variance(self, estimate: Decimal) -> Decimal:
        """VAC = BAC − EAC [money]."""
        return less(self.at_completion, estimate)

    def index_to_complete(self, target: Decimal) -> Decimal | None:
        """TCPI: how well the rest must go to end at ``target`` (BAC or an EAC) [money]. None once the target is spent.

        >>> day = Progress(Decimal(10), Decimal(4), Decimal(3), Decimal("3.5"))
        >>> day.index_to_complete(day.at_completion).quantize(Decimal("0.001"))
        Decimal('1.077')
        """
        rest = less(target, self.actual)
        return ratio(self.left, rest) if rest > 0 else None


class Week(NamedTuple):
    """What was so by the end of a week: ``budget``, uids that were ``due`` by the plan, uids ``done``, ``actual`` cost so far [money]."""

    budget: JobBudget
    due: Collection[str]
    done: Collection[str]
    actual: Decimal


def value_of(budget: JobBudget, uids: Collection[str]) -> Decimal:
    """The budget of the steps and reserves among ``uids`` [money]: what is earned when these are done, or planned when due."""
    wanted = frozenset(uids)
    steps = [item.cost for item in budget.steps if item.uid in wanted]
    return added(steps + [item.cost for item in budget.reserves if item.uid in wanted])


def progress(budget: JobBudget, *, due: Collection[str], done: Collection[str], actual: Decimal) -> Progress:
    """Where a job stands: ``due`` and ``done`` are uids of steps and reserves, ``actual`` is all it has cost [money]."""
    return Progress(budget.at_completion, value_of(budget, due), value_of(budget, done), actual)


def course(weeks: Iterable[Week]) -> Iterator[Progress]:
    """Week by week, oldest first: what was once done stays earned, whatever a later week says."""
    earned: set[str] = set()
    for week in weeks:
        earned |= set(week.done)
        yield progress(week.budget, due=week.due, done=earned, actual=week.actual)
