"""The contingency of a large restoration with a hundred possible damages."""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import numpy as np

from quotes.engine.chance.contingency import assess
from quotes.engine.chance.draws import TRIALS
from quotes.engine.inputs import Damage, Part, Restoration, Treatment
from quotes.engine.results import Branch
from quotes.engine.rollup import price
from tests.bench.bikes import bike
from tests.bench.measure import side_by_side

STEPS = 1_500
DAMAGED = 3  # every third part
CHANCES = (Decimal("0.5"), Decimal("0.15"), Decimal("0.03"))


def damaged(restoration: Restoration) -> tuple[Restoration, list[Branch]]:
    """The bike with possible damages, common, sometimes and rare in turn, and those as events."""
    parts = tuple(
        replace(part, damages=(_damage(part, number),)) if not number % DAMAGED else part
        for number, part in enumerate(restoration.parts)
    )
    branches = [
        Branch(d.uid, part.uid, d.name, d.chance, d.low, d.likely, d.high) for part in parts for d in part.damages
    ]
    return replace(restoration, parts=parts), branches


def _damage(part: Part, number: int) -> Damage:
    low, likely, high = Decimal(40), Decimal(90 + number % 50), Decimal(400)
    chance = CHANCES[number // DAMAGED % len(CHANCES)]
    return Damage(f"crack {part.uid}", "hidden crack", chance, low, likely, high, Treatment.OURS)


def floor(branches: list[Branch]) -> float:
    """Drawing the same few variables with what numpy has, as they come, and one partition."""
    source = np.random.default_rng(1)
    total = source.lognormal(0, 0.15, TRIALS) * source.gamma(900, 50, TRIALS) + source.gamma(400, 30, TRIALS)
    for _ in range(6):  # consumables, service, purchase
        total *= source.lognormal(0, 0.02, TRIALS)
    for branch in branches:
        chance, low, likely, high = map(float, branch[3:])
        count = int(chance * TRIALS)
        alpha = 1 + 4 * (likely - low) / (high - low)
        total[source.integers(0, TRIALS, count)] += low + (high - low) * source.beta(alpha, 6 - alpha, count)
    turn = int(0.8 * TRIALS)
    return float(np.partition(total, turn)[turn])


def lines() -> Iterator[str]:
    plain, (restoration, branches) = bike(STEPS), damaged(bike(STEPS))
    steps = price(plain).steps
    assert len(steps) == STEPS
    found = assess(restoration, steps, branches)
    assert sum((share for _, share in found.shares), Decimal(0)) == found.contingency > 0
    whole, without, least = side_by_side(
        lambda: assess(restoration, steps, branches), lambda: assess(plain, steps, ()), lambda: floor(branches)
    )
    yield (
        f"{STEPS:,} steps, {len(branches)} possible damages, {TRIALS:,} trials: {whole * 1e3:.0f} ms of processor time "
        f"(target 60 ms), {without * 1e3:.0f} ms without damages"
    )
    yield (
        f"drawing the same variables in bare numpy, without moments, strata, shares or curve, takes {least * 1e3:.1f} ms: "
        f"{whole / least:.1f} times that"
    )
