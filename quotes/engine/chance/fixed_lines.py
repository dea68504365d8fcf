"""The fixed lines of a restoration as rows of numbers: what their steps cost, and whose prices are in it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quotes.engine.chance.quantiles import Array
from quotes.engine.chance.route_moments import Costs, Moments, Pattern
from quotes.engine.inputs import Basis, Part, Restoration, Step, WayBack, Work
from quotes.engine.results import StepResult, Visit

#: A price that may be wrong: the kind of thing and its key.
Thing = tuple[str, str]
CONSUMABLE = "consumable"


class Priced(NamedTuple):
    """What is charged by one thing on one line, expected [money]: three rows side by side."""

    thing: NDArray[np.int64]
    line: NDArray[np.int64]
    charge: Array


@dataclass(slots=True)
class FixedLines:
    """Fixed ``parts`` by uid, with their steps and ways back as rows, and the ``things`` they pay for."""

    parts: list[Part]
    mean: Decimal = Decimal(0)
    things: dict[Thing, int] = field(default_factory=dict)
    patterns: list[Pattern] = field(default_factory=list)
    steps: list[tuple[Decimal, Decimal, Decimal, Decimal, Decimal]] = field(default_factory=list)
    ways: list[tuple[Decimal, Decimal]] = field(default_factory=list)
    #: (row of the step, line, thing, its part of the other cost), and (row of the way, line, thing, charge per turn)
    step_charges: list[tuple[int, int, int, float]] = field(default_factory=list)
    way_charges: list[tuple[int, int, int, float]] = field(default_factory=list)

    def costs(self) -> Costs:
        """The rows as arrays."""
        steps = np.array([tuple(map(float, row)) for row in self.steps], dtype=np.float64).reshape(-1, 5)
        ways = np.array([tuple(map(float, row)) for row in self.ways], dtype=np.float64).reshape(-1, 2)
        return Costs(self.patterns, *steps.T, *ways.T)

    def priced(self, costs: Costs, moments: Moments) -> Priced:
        """Expected charges by thing and line, redo visits and remedies included."""
        other = costs.first_other + moments.redone * costs.again_other
        rows = [(thing, line, other[row] * share) for row, line, thing, share in self.step_charges]
        rows += [(thing, line, moments.taken[row] * charge) for row, line, thing, charge in self.way_charges]
        thing, line, charge = np.array(rows, dtype=np.float64).reshape(-1, 3).T
        return Priced(thing.astype(np.int64), line.astype(np.int64), charge)


def fixed_lines(restoration: Restoration, results: Sequence[StepResult]) -> FixedLines:
    """The rows of the fixed lines; ``results`` are the steps of all lines, in any order."""
    of = {result.uid: result for result in results}
    found = FixedLines(sorted((p for p in restoration.parts if p.basis is Basis.FIXED), key=lambda part: part.uid))
    catalogue = _Catalogue(restoration)
    for line, part in enumerate(found.parts):
        at = {step.uid: index for index, step in enumerate(part.steps)}
        pattern = []
        for step in part.steps:
            ways = step.ways_back if part.pieces else ()
            pattern.append(tuple([(float(way.chance), at[way.to]) for way in ways]))
            _add_step(found, catalogue, line, step, of[step.uid])
            remedies = of[step.uid].remedies or (Visit(),) * len(ways)
            for way, remedy in zip(ways, remedies, strict=False):
                _add_way(found, catalogue, line, way, remedy)
        found.patterns.append(tuple(pattern))
    return found


class _Catalogue:
    """What things a work pays for, and how far its hands stray."""

    def __init__(self, restoration: Restoration) -> None:
        self.spreads = {item.key: item.spread for item in restoration.operations}
        self.used = {
            item.key: tuple([(CONSUMABLE, usage.consumable) for usage in item.usages])
            for item in restoration.operations
        }

    def things(self, work: Work, ref: str) -> tuple[Thing, ...]:
        return self.used[ref] if work is Work.OPERATION else ((work.value, ref),)

    def spread(self, step: Step) -> Decimal:
        """Handling a vendor job or a purchase has no spread of its own."""
        return self.spreads[step.ref] if step.work is Work.OPERATION else Decimal(0)


def _halves(visit: Visit) -> tuple[Decimal, Decimal]:
    """Labour with its overhead, and all other cost [money]."""
    _, labour, overhead, material, vendor, bought_in, _ = visit
    return labour + overhead, material + vendor + bought_in


def _add_step(found: FixedLines, catalogue: _Catalogue, line: int, step: Step, result: StepResult) -> None:
    labour, other = _halves(result.first)
    again_labour, again_other = _halves(result.redo)
    found.mean += labour + other
    if result.allowance:
        found.mean += result.allowance.cost
    row = len(found.steps)
    found.steps.append((labour, other, again_labour, again_other, catalogue.spread(step)))
    things = catalogue.things(step.work, step.ref)
    if other and things:
        shares = _shares(result) if len(things) > 1 else [1.0]
        if len(shares) != len(things):
            shares = [1 / len(things)] * len(things)
        for thing, share in zip(things, shares, strict=True):
            number = found.things.setdefault(thing, len(found.things))
            found.step_charges.append((row, line, number, share))


def _shares(result: StepResult) -> list[float]:
    """How the consumables of an operation share its first visit, in the order of its usages."""
    values = [float(item.value) for item in result.figure.inputs if item.formula.startswith("material_")]
    whole = sum(values)
    return [value / whole for value in values] if whole else []


def _add_way(found: FixedLines, catalogue: _Catalogue, line: int, way: WayBack, remedy: Visit) -> None:
    """Where several vendors, or several consumables, serve one remedy, they are taken to charge alike."""
    row = len(found.ways)
    found.ways.append(_halves(remedy))
    paid = {
        CONSUMABLE: remedy.material,
        Work.SERVICE.value: remedy.vendor,
        Work.PURCHASE.value: remedy.bought_in - way.replacement,
    }
    things = [thing for item in way.remedies for thing in catalogue.things(item.work, item.ref)]
    for thing in things:
        charge = paid[thing[0]]
        if charge > 0:
            of_its_kind = sum(other[0] == thing[0] for other in things)
            number = found.things.setdefault(thing, len(found.things))
            found.way_charges.append((row, line, number, float(charge) / of_its_kind))
