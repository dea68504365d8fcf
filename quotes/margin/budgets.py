"""Budgets of accepted quotes: worked out once from what was frozen, and kept with it.

The engine's own budget is kept unrounded; beside it, each cell in minor units, shared so that all add up to the quote's cost.
"""

import json
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from quotes.engine import canonical, inputs
from quotes.engine.errors import BadInput
from quotes.engine.inputs import OverheadBy
from quotes.engine.margin.budgets import JobBudget, budget_of
from quotes.engine.money import places, rounded, shared_out
from quotes.engine.plan import plan
from quotes.engine.results import Explained, Result, Visit
from quotes.engine.settlement import Agreed
from quotes.margin.models import Budget, BudgetLine
from quotes.margin.models.budgets import CLASSES
from quotes.pricing import variations, verify
from quotes.pricing.models import IssuedQuote, Outcome, Stage

#: What customers say yes to that is worked by; a ballpark is no offer.
STAGES = (Stage.INSPECT, Stage.MAIN, Stage.VARIATION)
Kind = BudgetLine.Kind
MINUTE = 60


@dataclass(frozen=True, slots=True)
class _Lines:
    """The lines of a quote that the customer pays."""

    lines: tuple[Agreed, ...]


def without_budget() -> QuerySet[IssuedQuote]:
    """Accepted quotes whose budget is not there yet."""
    rows = IssuedQuote.objects.filter(outcome__kind=Outcome.Kind.ACCEPTED, stage__in=STAGES, budget__isnull=True)
    return rows.order_by("number")


def mend(*, now: datetime) -> int:
    """Make the budgets that are missing; how many."""
    return sum(make(quote=quote, now=now) is not None for quote in list(without_budget()))


@transaction.atomic
def make(*, quote: IssuedQuote, now: datetime) -> Budget | None:
    """Keep what an accepted quote allows for. None for one that cannot be recomputed: `verify_quotes` says why."""
    found = verify.recomputed(quote)
    if found.given is None or found.explained is None:
        return None
    allowed = budget_of(found.explained, found.given)
    digits, policy = places(quote.currency), found.given.policy
    by_hours = policy.overhead_by is OverheadBy.HOURS
    cells = list(_cells(allowed))
    rows, cost = _rows(cells, digits)
    gone = variations.credited_steps(quote) if quote.stage == Stage.VARIATION else []
    budget = Budget.objects.create(
        quote=quote,
        cost_minor=cost,
        content=canonical.dump(allowed).decode(),
        agreed=canonical.dump(_Lines(tuple(_agreed(quote, found.explained.result)))).decode(),
        takes_out=json.dumps([str(uid) for uid in gone]),
        due=json.dumps(_due(found.given, found.explained)),
        overhead_rate_minor=int(policy.overhead_rate.scaleb(digits)) if by_hours else None,
        overhead_percent=None if by_hours else policy.overhead_rate * 100,
        handling_percent=policy.handling_rate * 100,
        made_at=now,
    )
    for row in rows:
        row.budget = budget
    BudgetLine.objects.bulk_create(rows)
    return budget


def _due(given: inputs.Restoration, explained: Explained) -> dict[str, str]:
    """Step to the day by which it must be done at the latest for the ready day that was planned; nothing without a plan."""
    if given.schedule is None:
        return {}
    with suppress(BadInput):
        found = plan(given, explained.steps, explained.batches)
        return {step.uid: step.late_finish[:10] for step in found.steps}
    return {}


def _agreed(quote: IssuedQuote, result: Result) -> Iterator[Agreed]:
    for line in result.lines:
        yield Agreed(
            uid=line.uid,
            quote=str(quote),
            basis=line.basis,
            quoted=line.net,
            tax=line.tax,
            cap=line.cap,
            varies=quote.stage == Stage.VARIATION,
        )


@dataclass(frozen=True, slots=True)
class _Cell:
    kind: str
    part: UUID
    step: UUID | None
    visit: Visit


def _cells(budget: JobBudget) -> Iterator[_Cell]:
    for step in budget.steps:
        for kind, visit in ((Kind.STEP, step.first), (Kind.AGAIN, step.allowance)):
            if any(visit[:6]):
                yield _Cell(kind, UUID(step.part), UUID(step.uid), visit)
    for reserve in budget.reserves:
        yield _Cell(OF_RESERVE[reserve.kind.value], UUID(reserve.part), None, reserve.expected)


OF_RESERVE = {"damage": Kind.DAMAGE, "finish": Kind.FINISH, "comebacks": Kind.COMEBACK}


def _rows(cells: Sequence[_Cell], digits: int) -> tuple[list[BudgetLine], int]:
    """The cells in minor units and whole seconds, and what they come to together [minor units]."""
    width = len(CLASSES)
    amounts = [amount.scaleb(digits) for cell in cells for amount in cell.visit[1 : 1 + width]]
    cost = rounded(sum(amounts, Decimal(0)), digits=0)
    order = [f"{place:08}" for place in range(len(amounts))]
    minor = [int(share) for share in shared_out(cost, amounts, order, digits=0)]
    times = [cell.visit.minutes * MINUTE for cell in cells]
    whole = rounded(sum(times, Decimal(0)), digits=0)
    seconds = [int(share) for share in shared_out(whole, times, order[: len(times)], digits=0)]
    rows = [
        BudgetLine(
            kind=cell.kind,
            part_uid=cell.part,
            step_uid=cell.step,
            seconds=seconds[place],
            **dict(zip(CLASSES, minor[place * width : (place + 1) * width], strict=True)),
        )
        for place, cell in enumerate(cells)
    ]
    return rows, int(cost)


# -- read ---------------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=256)
def _budget(content: str) -> JobBudget:
    return canonical.load(JobBudget, content.encode())


@lru_cache(maxsize=256)
def _agreed_lines(content: str) -> tuple[Agreed, ...]:
    return canonical.load(_Lines, content.encode()).lines


def budget(row: Budget) -> JobBudget:
    """The engine's budget of a quote, unrounded [money]."""
    return _budget(row.content)


def agreed_lines(row: Budget) -> tuple[Agreed, ...]:
    """The lines of the quote that the customer pays."""
    return _agreed_lines(row.agreed)


def due(rows: Iterable[Budget]) -> dict[str, date]:
    """Step uid to the day by which it was to be done; a later quote stands over an earlier one."""
    return {uid: date.fromisoformat(day) for row in rows for uid, day in json.loads(row.due).items()}


def taken_out(rows: Iterable[Budget]) -> set[str]:
    """Steps that variations took out of the scope, by uid."""
    return {uid for row in rows for uid in json.loads(row.takes_out)}
