"""What the fixed lines cost, walked step by step: every visit, failure, remedy and lot of every trial.

Written apart from `quotes.engine.chance`, from what happens in the shop: a part goes through its steps; a visit fails
with its chance and sends the part back; every visit of a step shares that step's speed; the bike's pace is on all
labour; a price that is off is off for all that is really charged at it. Nothing is a moment or a formula here.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from quotes.engine.inputs import Basis, Part, Restoration, Work
from quotes.engine.results import Branch, StepResult, Visit

CHUNK = 50_000


def totals(
    restoration: Restoration, steps: Sequence[StepResult], branches: Sequence[Branch], *, trials: int, seed: int
) -> Any:
    """Sorted costs of ``trials`` bikes."""
    rng = np.random.default_rng(seed)
    chunks = [CHUNK] * (trials // CHUNK) + [trials % CHUNK] * bool(trials % CHUNK)
    return np.sort(np.concatenate([_chunk(restoration, steps, branches, size, rng) for size in chunks]))


def quantile(sorted_totals: Any, kept: float) -> float:
    return float(sorted_totals[int(np.ceil(kept * len(sorted_totals))) - 1])


@dataclass
class _Shop:
    """What has been spent so far: labour, and other cost by whose price it is."""

    rng: Any
    size: int
    labour: Any
    names: dict[str, str]
    charged: dict[tuple[str, str], Any] = field(default_factory=dict)

    def charge(self, thing: tuple[str, str], amount: Any, where: Any = slice(None)) -> None:
        if thing not in self.charged:
            self.charged[thing] = np.zeros(self.size)
        self.charged[thing][where] += amount


def _chunk(
    restoration: Restoration, steps: Sequence[StepResult], branches: Sequence[Branch], size: int, rng: Any
) -> Any:
    shop = _Shop(rng, size, np.zeros(size), {item.key: item.name for item in restoration.consumables})
    results = {step.uid: step for step in steps}
    operations = {operation.key: operation for operation in restoration.operations}
    fixed = [part for part in restoration.parts if part.basis is Basis.FIXED]
    for part in fixed:
        _walk(part, results, operations, shop)
    total = shop.labour * _factor(rng, float(restoration.policy.pace_spread), size)
    spreads = dict(restoration.policy.status_spreads)
    status = {("consumable", item.key): item.status for item in restoration.consumables}
    status |= {("service", item.key): item.status for item in restoration.services}
    status |= {("purchase", item.key): item.status for item in restoration.purchases}
    for thing, charge in shop.charged.items():
        total += charge * _factor(rng, float(spreads[status[thing]]) if thing in status else 0.0, size)
    for branch in branches:
        if any(part.uid == branch.part for part in fixed):
            total += _event(branch, size, rng)
    return total


def _factor(rng: Any, spread: float, size: int) -> Any:
    """Lognormal of mean 1."""
    sigma = np.sqrt(np.log(1 + spread**2))
    return np.exp(sigma * rng.standard_normal(size, dtype=np.float32) - sigma**2 / 2) if spread else np.ones(size)


def _event(branch: Branch, size: int, rng: Any) -> Any:
    chance, low, likely, high = map(float, branch[3:])
    happens = rng.random(size) < chance
    if high == low:
        return happens * low
    alpha = 1 + 4 * (likely - low) / (high - low)
    return happens * (low + (high - low) * rng.beta(alpha, 6 - alpha, size))


def _walk(part: Part, results: dict[str, StepResult], operations: dict[str, Any], shop: _Shop) -> None:
    at = {step.uid: index for index, step in enumerate(part.steps)}
    ways = [[(float(w.chance), at[w.to], w) for w in step.ways_back] if part.pieces else [] for step in part.steps]
    redone: dict[int, Any] = defaultdict(lambda: np.zeros(shop.size, dtype=np.float32))
    for index in range(len(part.steps)):
        # Those that have just come to this step for the first time, and then those that go round until they are past it.
        fails = _failing(ways[index], np.arange(shop.size), shop.rng)
        while fails:
            where, place = _back(fails, part, index, ways, results, operations, shop)
            fails = _again(where, place, index, ways, redone, part, results, operations, shop)
    for index, step in enumerate(part.steps):
        visit, again = results[step.uid].first, results[step.uid].redo
        count = redone.get(index, 0)
        speed = 1.0
        if step.work is Work.OPERATION and operations[step.ref].spread and (visit.labour or again.labour):
            speed = _factor(shop.rng, float(operations[step.ref].spread), shop.size)
        shop.labour += speed * (_labour(visit) + count * _labour(again))
        _pay_for_step(step, results[step.uid], operations, _other(visit) + count * _other(again), shop)


def _failing(ways: Any, where: Any, rng: Any, at: int = -1) -> list[tuple[Any, int, Any]]:
    """Which of ``where`` take which way back."""
    if not ways or not len(where):
        return []
    drawn = rng.random(len(where), dtype=np.float32)
    taken, found = 0.0, []
    for number, (chance, _, _) in enumerate(ways):
        chosen = where[(drawn >= taken) & (drawn < taken + chance)]
        taken += chance
        if len(chosen):
            found.append((chosen, number, at))
    return found


def _back(fails: Any, part: Part, index: int, ways: Any, results: Any, operations: Any, shop: _Shop) -> tuple[Any, Any]:
    """Pay for the remedies; where everyone is sent."""
    wheres, places = [], []
    for where, number, at in fails:
        step = index if at < 0 else at
        _, to, way = ways[step][number]
        remedies = results[part.steps[step].uid].remedies
        if remedies:
            _remedy(way, remedies[number], operations, where, shop)
        wheres.append(where)
        places.append(np.full(len(where), to))
    return np.concatenate(wheres), np.concatenate(places)


def _again(
    where: Any,
    place: Any,
    last: int,
    ways: Any,
    redone: Any,
    part: Part,
    results: Any,
    operations: Any,
    shop: _Shop,
) -> list[tuple[Any, int, Any]]:
    """Do the steps up to ``last`` again, each with those who are at it; returns who failed at them."""
    failed: list[tuple[Any, int, Any]] = []
    for index in range(int(place.min()), last + 1):
        here = place <= index
        active = where[here]
        if not len(active):
            continue
        redone[index][active] += 1
        fails = _failing(ways[index], active, shop.rng, index)
        failed.extend(fails)
        for gone, _, _ in fails:
            stay = ~np.isin(where, gone)
            where, place = where[stay], place[stay]
    return failed


def _remedy(way: Any, visit: Visit, operations: Any, where: Any, shop: _Shop) -> None:
    shop.labour[where] += _labour(visit)
    shop.charge(("replacement", ""), float(way.replacement), where)
    for kind, amount in (
        (Work.OPERATION, visit.material),
        (Work.SERVICE, visit.vendor),
        (Work.PURCHASE, visit.bought_in - way.replacement),
    ):
        refs = [item.ref for item in way.remedies if item.work is kind]
        _pay(kind, refs, operations, float(amount), shop, where)


def _pay_for_step(step: Any, result: StepResult, operations: Any, amount: Any, shop: _Shop) -> None:
    """By what its cost sheet says for each of its consumables, found there by name."""
    usages = operations[step.ref].usages if step.work is Work.OPERATION else ()
    costs = [
        sum(float(figure.value) for figure in result.figure.inputs if figure.name == shop.names[usage.consumable])
        for usage in usages
    ]
    if not sum(costs):
        _pay(step.work, [step.ref], operations, amount, shop)
        return
    for usage, cost in zip(usages, costs, strict=True):
        shop.charge(("consumable", usage.consumable), amount * cost / sum(costs))


def _pay(work: Work, refs: Sequence[str], operations: Any, amount: Any, shop: _Shop, where: Any = slice(None)) -> None:
    """Where several serve one remedy, who charges how much is not walked here: they charge alike."""
    things = [(work.value, ref) for ref in refs]
    if work is Work.OPERATION:
        things = [("consumable", usage.consumable) for ref in refs for usage in operations[ref].usages]
    for thing in things:
        shop.charge(thing, amount / len(things), where)


def _labour(visit: Visit) -> float:
    return float(visit.labour + visit.overhead)


def _other(visit: Visit) -> float:
    return float(visit.material + visit.vendor + visit.bought_in)
