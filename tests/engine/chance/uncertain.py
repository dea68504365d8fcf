"""Bikes with much that is uncertain, from seeds: on top of `tests.engine.made` and `tests.bench.bikes`."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import NamedTuple

from quotes.engine.inputs import Basis, Damage, Part, Restoration, Treatment
from quotes.engine.results import Branch, StepResult
from quotes.engine.rollup import price
from tests.bench.bikes import bike
from tests.engine import made

STATUSES = ("seen", "phoned", "guessed")
CHANCES = (Decimal("0.5"), Decimal("0.15"), Decimal("0.03"))


class Uncertain(NamedTuple):
    """What `assess` is asked about."""

    restoration: Restoration
    steps: Sequence[StepResult]
    branches: tuple[Branch, ...]


def bike_by(seed: int, steps: int, *, like_a_shop: bool) -> Uncertain:
    """A bike of about ``steps`` steps: as a shop has them, or with routes, prices and failures of all kinds."""
    by = made.Chance(seed)
    plain = bike(steps) if like_a_shop else made.by_seed(seed, parts=round(steps / 2.5))
    policy = replace(plain.policy, pace_spread=by.number(0, 0.3), currency="EUR")
    changed = replace(
        plain,
        policy=policy,
        consumables=tuple(replace(item, status=by.choice(STATUSES)) for item in plain.consumables),
        services=tuple(replace(item, status=by.choice(STATUSES)) for item in plain.services),
        purchases=tuple(replace(item, status=by.choice(STATUSES)) for item in plain.purchases),
        operations=tuple(replace(item, spread=by.number(0, 0.6)) for item in plain.operations),
        parts=tuple(_part(by, part) for part in plain.parts),
    )
    explained = price(without_events(changed))
    cost = explained.result.cost / max(len(changed.parts), 1)
    damages, finishes = by.number(0.05, 0.4), by.number(0, 0.2)
    parts, branches = [], []
    for part in changed.parts:
        found = (_damage(by, part.uid, cost),) if by.random() < damages else ()
        parts.append(replace(part, damages=found))
        branches += [Branch(d.uid, part.uid, d.name, d.chance, d.low, d.likely, d.high) for d in found]
        if by.random() < finishes:
            loss = cost * by.number(0.2, 2)
            branches.append(
                Branch(f"finish {part.uid}", part.uid, "wrong finish", by.number(0.01, 0.2), loss, loss, loss)
            )
    return Uncertain(replace(changed, parts=tuple(parts)), explained.steps, tuple(branches))


def without_events(restoration: Restoration) -> Restoration:
    return replace(restoration, parts=tuple(replace(part, damages=(), question=None) for part in restoration.parts))


def _part(by: made.Chance, part: Part) -> Part:
    return replace(part, basis=Basis.FIXED if not by.one_in(6) else Basis.HOURLY)


def _damage(by: made.Chance, uid: str, cost: Decimal) -> Damage:
    low, likely, high = sorted(cost * by.number(0.1, 4) for _ in range(3))
    return Damage(f"damage {uid}", "hidden crack", by.choice(CHANCES), low, likely, high, Treatment.OURS)


def expected_cost(found: Uncertain) -> Decimal:
    """What the fixed lines are expected to cost before anything is kept for comebacks [money]."""
    fixed = {item.uid for item in found.restoration.parts if item.basis is Basis.FIXED}
    steps = (s.first.cost + s.allowance.cost for s in found.steps if s.part in fixed)
    events = (b.chance * (b.low + 4 * b.likely + b.high) / 6 for b in found.branches if b.part in fixed)
    return sum((*steps, *events), Decimal(0))
