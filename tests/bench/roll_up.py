"""The roll-up of a large restoration, with the explanation of every figure."""

from collections.abc import Iterator
from decimal import Decimal

from quotes.engine.results import Explained
from quotes.engine.rollup import price
from tests.bench import plain_sum
from tests.bench.bikes import bike
from tests.bench.measure import side_by_side

STEPS = 1_500


def figures(explained: Explained) -> int:
    """How many different figures explain it."""
    return len({id(figure) for top in explained.figures.values() for _, figure in top.walk()})


def lines() -> Iterator[str]:
    restoration = bike(STEPS)
    explained = price(restoration)
    steps = [step for part in restoration.parts for step in part.steps]
    assert len(steps) == STEPS
    assert_same(plain_sum.cost(restoration), explained.result.cost)
    bikes = [restoration, bike(STEPS // 2), bike(STEPS * 2)]
    whole, plain, half, double = side_by_side(
        lambda: price(bikes[0]), lambda: plain_sum.cost(bikes[0]), lambda: price(bikes[1]), lambda: price(bikes[2])
    )
    fails = sum(bool(step.ways_back) for step in steps)
    yield (
        f"{STEPS:,} steps, {fails} of which can fail, with {figures(explained):,} figures that explain them: "
        f"{whole * 1e3:.0f} ms of processor time (target 50 ms)"
    )
    yield f"{STEPS // 2:,} : {STEPS:,} : {STEPS * 2:,} steps take {half / whole:.2f} : 1 : {double / whole:.2f} (linear: 0.5 : 1 : 2)"
    yield (
        f"a plain sum of the same formulas without explanations, which comes to the same cost to 20 digits, takes "
        f"{plain * 1e3:.0f} ms: {whole / plain:.1f} times that (target 10)"
    )


def assert_same(one: Decimal, other: Decimal) -> None:
    assert abs(one - other) <= abs(one) * Decimal("1e-20"), f"the plain sum is {one}, the engine's {other}"
