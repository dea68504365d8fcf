"""Made history: what happens to work when the truth is known. Draws from a seed, and nothing else decides.

    actual = Σ standard of a step × its true factor × its own chance × one chance of the task × pace × one factor of the bike

All chances are lognormal of mean 1. What learns sees only the sum.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from quotes.engine.learning.factors import Piece, Task, log_variance

Generator = np.random.Generator


@dataclass(frozen=True, slots=True)
class Mechanic:
    """Who works, on the work of which ``grades``, and how long they take against the pace it is priced at."""

    key: str
    name: str
    grades: tuple[str, ...]
    pace: float


@dataclass(frozen=True, slots=True)
class Vendor:
    """How a service really goes: times the working days of the book, its spread, and times the price agreed."""

    lead: float
    spread: float
    charge: float


@dataclass(frozen=True, slots=True)
class Customers:
    """Who asks and who says yes; see `accepts`."""

    asked_per_year: int
    accept: float
    sharpness: float
    insight: float
    idea_spread: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What nobody in the shop knows. ``operations`` are factors on set-up and on run; spreads are CVs."""

    bike: float
    task: float
    step: float
    operations: Mapping[str, tuple[float, float]]
    mechanics: Sequence[Mechanic]
    rework: Mapping[str, float] = field(default_factory=dict)
    causes: Mapping[str, float] = field(default_factory=dict)
    damages: Mapping[str, float] = field(default_factory=dict)
    vendors: Mapping[str, Vendor] = field(default_factory=dict)
    customers: Customers = Customers(40, 0.7, 6.0, 0.0, 0.1)


def generator(seed: int) -> Generator:
    """The draws of a seed."""
    return np.random.Generator(np.random.PCG64(seed))


def factor(draw: Generator, spread: float) -> float:
    """A lognormal factor of mean 1 and CV ``spread``."""
    variance = log_variance(spread)
    return float(np.exp(draw.normal(-variance / 2, np.sqrt(variance)))) if spread else 1.0


def true_minutes(truth: Truth, piece: Piece) -> float:
    """What a piece takes on average, by people who keep the pace of its grade."""
    setup, run = truth.operations.get(piece.operation, (1.0, 1.0))
    return piece.setup * setup + piece.run * run


def worked(
    draw: Generator, truth: Truth, steps: Sequence[Piece], *, key: str, bike: str, of_bike: float, who: Mechanic
) -> Task:
    """A task as it came out: its steps by one mechanic, on a bike with the factor ``of_bike``."""
    whole = sum(true_minutes(truth, step) * factor(draw, truth.step) for step in steps)
    actual = whole * factor(draw, truth.task) * who.pace * of_bike
    return Task(key, bike, actual, together(steps), {who.key: actual})


def together(steps: Sequence[Piece]) -> tuple[Piece, ...]:
    """The steps of a task by operation."""
    sums: dict[tuple[str, str], tuple[float, float]] = {}
    for step in steps:
        setup, run = sums.get((step.operation, step.grade), (0.0, 0.0))
        sums[step.operation, step.grade] = setup + step.setup, run + step.run
    return tuple(Piece(operation, *both, grade) for (operation, grade), both in sorted(sums.items()))


def chosen(draw: Generator, truth: Truth, grade: str) -> Mechanic:
    """Somebody who does the work of ``grade``; anybody where nobody does."""
    able = [one for one in truth.mechanics if grade in one.grades] or list(truth.mechanics)
    return able[int(draw.integers(len(able)))]


def accepts(draw: Generator, customers: Customers, *, price: float, expected: float, of_bike: float) -> bool:
    """Whether somebody takes an offer of ``price``, which ``expected`` cost would make the usual one.

    Their own idea of it is that usual price, times the bike's hidden factor to the power of what they know (``insight``),
    times a chance. Dearer than their idea is taken less often: odds fall with (price / idea) to the ``sharpness``.
    """
    idea = expected * of_bike**customers.insight * factor(draw, customers.idea_spread)
    odds = customers.accept / (1 - customers.accept) * (idea / price) ** customers.sharpness
    return bool(draw.random() < odds / (1 + odds))
