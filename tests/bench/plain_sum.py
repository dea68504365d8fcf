"""The cost of a restoration as a plain sum: the formulas of the engine in bare Decimals, without any explanation.

Written apart from the engine, from the formulas as they are agreed, and the short way round: rework by the forward
recursion on money instead of by visits. It is what the roll-up is measured against, and what its costs are checked by.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal, localcontext
from graphlib import CycleError, TopologicalSorter
from typing import Any

from quotes.engine.inputs import By, Measure, OverheadBy, Part, Restoration, Step, Work

Batches = Iterable[tuple[str, ...]]
Member = tuple[Part, Step]


class Tangled(ValueError):
    """Putting together all that belongs together closes a circle of waits; somebody else has to say what is batched."""


def cost(restoration: Restoration, batches: Batches | None = None) -> Decimal:
    """Expected cost with its rework allowance and what is kept for comebacks [money], unrounded."""
    with localcontext() as context:
        context.prec = 28
        whole = _Sum(restoration).cost(batches if batches is not None else together(restoration))
        return whole * (1 + restoration.policy.comebacks)


def together(restoration: Restoration) -> list[tuple[str, ...]]:
    """Steps that share a set-up or a lot; raises `Tangled` where that takes choosing."""
    alone = {operation.key for operation in restoration.operations if not operation.shares_setup}
    groups: dict[Any, list[str]] = defaultdict(list)
    key_of: dict[str, Any] = {}
    for part in restoration.parts:
        turns: dict[Any, int] = defaultdict(int)
        for step in part.steps:
            turns[step.work, step.ref] += 1
            key: Any = (step.work, step.ref, step.process, part.material, turns[step.work, step.ref])
            if step.work is Work.PURCHASE or not part.pieces or (step.work is Work.OPERATION and step.ref in alone):
                key = step.uid
            key_of[step.uid] = key
            groups[key].append(step.uid)
    order: TopologicalSorter[Any] = TopologicalSorter()
    for part in restoration.parts:
        for before, step in zip((None, *part.steps), part.steps, strict=False):
            waits = [key_of[uid] for uid in step.waits_for] + ([key_of[before.uid]] if before else [])
            order.add(key_of[step.uid], *waits)
    try:
        order.prepare()
    except CycleError as circle:
        raise Tangled from circle
    return sorted(tuple(sorted(members)) for members in groups.values())


class _Sum:
    def __init__(self, restoration: Restoration) -> None:
        self.parts = restoration.parts
        self.policy = restoration.policy
        self.grades = {item.key: item for item in restoration.grades}
        self.stock = {item.key: item for item in restoration.consumables}
        self.work: dict[tuple[Work, str], Any] = {
            **{(Work.OPERATION, item.key): item for item in restoration.operations},
            **{(Work.SERVICE, item.key): item for item in restoration.services},
            **{(Work.PURCHASE, item.key): item for item in restoration.purchases},
        }

    def cost(self, batches: Batches) -> Decimal:
        where = {step.uid: (part, step) for part in self.parts for step in part.steps}
        first: dict[str, Decimal] = {}
        for batch in batches:
            first.update(self.batch([where[uid] for uid in batch], self.policy.mixed_share))
        return sum((self.route(part, first) for part in self.parts), Decimal(0))

    def route(self, part: Part, first: Mapping[str, Decimal]) -> Decimal:
        """E = Σ [c + Σ p (ρ + Σ d)], with d = (c' + Σ p (ρ + Σ d before)) / (1 − Σ p)."""
        if not part.pieces or not any(step.ways_back for step in part.steps):
            return sum((first[step.uid] for step in part.steps), Decimal(0))
        at = {step.uid: index for index, step in enumerate(part.steps)}
        again: list[Decimal] = []
        expected = Decimal(0)
        for step in part.steps:
            expected += first[step.uid]
            again.append(Decimal(0))
            if not step.ways_back and not self.sent_through(part, at[step.uid]):
                continue
            redo = self.alone((part, step))
            sent = sum(
                (way.chance * self.back(part, step, way, again[at[way.to] :]) for way in step.ways_back), Decimal(0)
            )
            fails = sum((way.chance for way in step.ways_back), Decimal(0))
            again[-1] = (redo + sent) / (1 - fails)
            expected += sent + fails * again[-1]
        return expected

    def sent_through(self, part: Part, index: int) -> bool:
        """Whether a later failure can lead through this step again."""
        at = {step.uid: i for i, step in enumerate(part.steps)}
        return any(at[way.to] <= index for step in part.steps[index:] for way in step.ways_back)

    def back(self, part: Part, step: Step, way: Any, between: list[Decimal]) -> Decimal:
        remedies = (
            self.alone((part, Step(step.uid, step.name, item.work, item.ref, factor=step.factor)))
            for item in way.remedies
        )
        return way.replacement + sum(remedies, Decimal(0)) + sum(between, Decimal(0))

    def alone(self, member: Member) -> Decimal:
        return self.batch([member], Decimal(0))[member[1].uid]

    def batch(self, members: list[Member], mixed: Decimal) -> dict[str, Decimal]:
        step = members[0][1]
        item = self.work[step.work, step.ref]
        if step.work is Work.PURCHASE:
            pieces = self.amount(*members[0], Measure.PIECE)
            hands = self.hands(item.handling_grade, item.handling) if item.handling and pieces else Decimal(0)
            return {step.uid: item.unit_price * pieces + hands}
        amounts, whole = self.amounts(members, item.measure)
        if step.work is Work.SERVICE:
            lot = self.lot(item, whole)
            return {
                m[1].uid: lot * amount / whole if amount else Decimal(0)
                for m, amount in zip(members, amounts, strict=True)
            }
        return self.operation(item, members, amounts, whole, mixed if item.shares_setup else Decimal(0))

    def operation(
        self, item: Any, members: list[Member], amounts: list[Decimal], whole: Decimal, mixed: Decimal
    ) -> dict[str, Decimal]:
        runs = [item.run * amount * step.factor for (_, step), amount in zip(members, amounts, strict=True)]
        weights = runs if any(runs) else [Decimal(bool(amount)) for amount in amounts]
        all_weights = sum(weights, Decimal(0))
        setup = self.set_ups(item, members, amounts) * item.setup * (1 - mixed)
        factor = (1 + item.allowance) * item.shop_factor * self.grades[item.grade].pace
        costs = {}
        for (_, step), amount, run, weight in zip(members, amounts, runs, weights, strict=True):
            minutes = (setup * weight / all_weights + run) * factor if amount else Decimal(0)
            costs[step.uid] = self.hands(item.grade, minutes)
        for usage in item.usages:
            self.materials(item, usage, members, amounts, whole, costs)
        return costs

    def materials(
        self,
        item: Any,
        usage: Any,
        members: list[Member],
        amounts: list[Decimal],
        whole: Decimal,
        costs: dict[str, Decimal],
    ) -> None:
        stuff = self.stock[usage.consumable]
        if stuff.by is By.MEASURE:
            bases, per = amounts, usage.amount * (1 + usage.waste)
        else:
            bases = [
                self.extent(*member, Measure.DM2, item.measure) if amount else Decimal(0)
                for member, amount in zip(members, amounts, strict=True)
            ]
            whole = sum(bases, Decimal(0))
            thick = 1 / (10 * stuff.solids) if stuff.by is By.FILM else stuff.density / 1000
            per = usage.film * thick / 100 / usage.transfer
        if not per or not whole:
            return
        mix = max(per * whole, stuff.smallest_mix)
        if stuff.whole_packs:
            # A last digit must not open another pack.
            mix = math.ceil(mix / stuff.pack_size - Decimal("1e-15")) * stuff.pack_size
        for (_, step), basis in zip(members, bases, strict=True):
            costs[step.uid] += mix / stuff.pack_size * stuff.pack_price * basis / whole

    def set_ups(self, item: Any, members: list[Member], amounts: list[Decimal]) -> int:
        working = [member for member, amount in zip(members, amounts, strict=True) if amount]
        if not item.capacity or item.capacity_by is Measure.BATCH:
            return int(bool(working))
        load = sum((self.extent(*member, item.capacity_by, item.measure) for member in working), Decimal(0))
        return max(math.ceil(load / item.capacity), int(bool(working)))

    def lot(self, item: Any, whole: Decimal) -> Decimal:
        if not whole:
            return Decimal(0)
        ends = [br.quantity for br in item.breaks[1:]] + [None]
        offers = [
            max(whole, br.quantity) * br.rate
            for br, end in zip(item.breaks, ends, strict=True)
            if end is None or end > whole
        ]
        charge = max(item.lot_charge + min(offers), item.minimum)
        hands = self.hands(item.handling_grade, item.handling) if item.handling else Decimal(0)
        return charge * (1 + self.policy.handling_rate) + item.trip * item.trip_share + hands

    def hands(self, grade: str, minutes: Decimal) -> Decimal:
        labour = minutes / 60 * self.grades[grade].cost_rate
        base = minutes / 60 if self.policy.overhead_by is OverheadBy.HOURS else labour
        return labour + base * self.policy.overhead_rate

    def amounts(self, members: list[Member], measure: Measure) -> tuple[list[Decimal], Decimal]:
        own = [self.amount(*member, measure) for member in members]
        if measure is not Measure.BATCH:
            return own, sum(own, Decimal(0))
        sharing = [step.quantity is None and bool(part.pieces) for part, step in members]
        pieces = sum(part.pieces for (part, _), shares in zip(members, sharing, strict=True) if shares)
        whole = sum((amount for amount, shares in zip(own, sharing, strict=True) if not shares), Decimal(any(sharing)))
        return [
            Decimal(part.pieces) / pieces if shares else amount
            for (part, _), shares, amount in zip(members, sharing, own, strict=True)
        ], whole

    def amount(self, part: Part, step: Step, measure: Measure) -> Decimal:
        if not part.pieces:
            return Decimal(0)
        if step.quantity is not None:
            return step.quantity
        if measure is Measure.BATCH:
            return Decimal(1)
        return self.size(part, measure, Decimal(part.pieces))

    def extent(self, part: Part, step: Step, by: Measure, measure: Measure) -> Decimal:
        if by is measure:
            return self.amount(part, step, by)
        pieces = step.quantity if measure is Measure.PIECE and step.quantity is not None else Decimal(part.pieces)
        return self.size(part, by, pieces)

    def size(self, part: Part, by: Measure, pieces: Decimal) -> Decimal:
        sizes = {
            Measure.PIECE: 1,
            Measure.DM2: part.area,
            Measure.KG: part.weight,
            Measure.OPENING: part.openings,
            Measure.SPOKE: part.spokes,
        }
        return pieces * sizes[by]
