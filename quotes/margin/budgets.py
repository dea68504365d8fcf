"""Budgets of accepted quotes: worked out once from what was frozen, in minor units that add up to the quote's cost."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from quotes.engine import inputs
from quotes.engine.inputs import Basis, OverheadBy
from quotes.engine.money import places, rounded, shared_out, to_minor
from quotes.engine.results import Explained, Result, Visit
from quotes.margin.models import AMOUNTS, Budget, BudgetLine
from quotes.pricing import verify
from quotes.pricing.models import IssuedQuote, Outcome, Stage

#: What customers say yes to that is worked by; a ballpark is no offer.
STAGES = (Stage.INSPECT, Stage.MAIN, Stage.VARIATION)
Kind = BudgetLine.Kind
MINUTE = 60


@dataclass(frozen=True, slots=True)
class _Allowed:
    kind: str
    part: UUID
    step: UUID | None
    visit: Visit


def without_budget() -> QuerySet[IssuedQuote]:
    """Accepted quotes whose budget is not there yet."""
    rows = IssuedQuote.objects.filter(outcome__kind=Outcome.Kind.ACCEPTED, stage__in=STAGES, budget__isnull=True)
    return rows.order_by("number")


def mend(*, now: datetime) -> int:
    """Make the budgets that are missing; how many."""
    rows = list(without_budget())
    return sum(make(quote=quote, now=now) is not None for quote in rows)


@transaction.atomic
def make(*, quote: IssuedQuote, now: datetime) -> Budget | None:
    """Keep what an accepted quote allows for. None for one that cannot be recomputed: `verify_quotes` says why."""
    found = verify.recomputed(quote)
    if found.given is None or found.explained is None:
        return None
    allowed = [one for one in _allowed(found.given, found.explained) if any(one.visit)]
    digits = places(quote.currency)
    amounts = [amount.scaleb(digits) for one in allowed for amount in one.visit[1:6]]
    cost = rounded(sum(amounts, Decimal(0)), digits=0)
    order = [f"{place:06}" for place in range(len(amounts))]
    minor = [int(share) for share in shared_out(cost, amounts, order, digits=0)]
    minutes = [one.visit.minutes * MINUTE for one in allowed]
    whole = rounded(sum(minutes, Decimal(0)), digits=0)
    seconds = [int(share) for share in shared_out(whole, minutes, order[: len(minutes)], digits=0)]
    policy = found.given.policy
    by_hours = policy.overhead_by is OverheadBy.HOURS
    budget = Budget.objects.create(
        quote=quote,
        cost_minor=int(cost),
        open_lines=json.dumps(_open_lines(found.explained.result, digits)),
        overhead_rate_minor=int(policy.overhead_rate.scaleb(digits)) if by_hours else None,
        overhead_percent=None if by_hours else policy.overhead_rate * 100,
        handling_percent=policy.handling_rate * 100,
        made_at=now,
    )
    width = len(AMOUNTS)
    BudgetLine.objects.bulk_create(
        BudgetLine(
            budget=budget,
            kind=one.kind,
            part_uid=one.part,
            step_uid=one.step,
            seconds=seconds[place],
            **dict(zip(AMOUNTS, minor[place * width : (place + 1) * width], strict=True)),
        )
        for place, one in enumerate(allowed)
    )
    return budget


def _allowed(given: inputs.Restoration, explained: Explained) -> Iterator[_Allowed]:
    """Everything that a quote allows for, each by cost class: together its expected cost with allowances."""
    for step in explained.steps:
        part, uid = UUID(step.part), UUID(step.uid)
        yield _Allowed(Kind.STEP, part, uid, step.first)
        yield _Allowed(Kind.AGAIN, part, uid, step.allowance)
    for part_uid, unseen in explained.unseen.items():
        yield _Allowed(Kind.DAMAGE, UUID(part_uid), None, unseen.damage)
        yield _Allowed(Kind.FINISH, UUID(part_uid), None, unseen.finish)
    yield from _comebacks(given, explained)


def _open_lines(result: Result, digits: int) -> list[dict[str, object]]:
    """Lines that come to what they really take: up to a cap, or by the hour."""
    return [
        {
            "part": line.uid,
            "basis": line.basis,
            "net": to_minor(line.net, digits=digits),
            "cap": None if line.cap is None else to_minor(rounded(line.cap, digits=digits), digits=digits),
        }
        for line in result.lines
        if line.basis in (Basis.CAPPED, Basis.HOURLY)
    ]


def _comebacks(given: inputs.Restoration, explained: Explained) -> Iterator[_Allowed]:
    """What is kept for comebacks stands in the cost classes of each line: what a line has there beyond all else."""
    share = given.policy.comebacks
    if not share:
        return
    kept: dict[UUID, Visit] = {}
    for step in explained.steps:
        part = UUID(step.part)
        kept[part] = kept.get(part, Visit()).plus(step.first).plus(step.allowance)
    for uid, unseen in explained.unseen.items():
        kept[UUID(uid)] = kept.get(UUID(uid), Visit()).plus(unseen.damage).plus(unseen.finish)
    for part, expected in kept.items():
        _minutes, *amounts = expected
        yield _Allowed(Kind.COMEBACK, part, None, Visit(Decimal(0), *(amount * share for amount in amounts)))
