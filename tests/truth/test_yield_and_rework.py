"""Published absorbing chains and yields, through the rework recursion.

The recursion knows ways back on a route that always ends with a finished part. A chain that can lose its piece is
mapped onto it as the engine maps scrap: what is lost goes back to the start with a replacement. Visits for every
finished part are then the chain's visits for every piece started, divided by the chance to finish.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from quotes.engine.inputs import WayBack
from quotes.engine.rework import Stage, Way, expected_cost, visits
from tests.engine.build import close, operation, part, priced, step
from tests.engine.chain import solved

F, D = Fraction, Decimal


def inverse(matrix: Sequence[Sequence[Fraction]]) -> list[list[Fraction]]:
    """N = (I − Q)⁻¹ by exact elimination, column by column."""
    size = len(matrix)
    rows = [{j: F(int(i == j)) - matrix[i][j] for j in range(size)} for i in range(size)]
    columns = [solved(rows, [F(int(i == j)) for i in range(size)]) for j in range(size)]
    return [[columns[j][i] for j in range(size)] for i in range(size)]


def assert_numpy_agrees(matrix: Sequence[Sequence[Fraction]], exact: Sequence[Sequence[Fraction]]) -> None:
    q = np.array(matrix, dtype=float)
    assert np.allclose(np.linalg.inv(np.eye(len(q)) - q), np.array(exact, dtype=float), rtol=1e-12)


def stage(*ways: tuple[Fraction, int], cost: int = 1, remedy: int = 0) -> Stage[Fraction]:
    return Stage(F(cost), F(cost), tuple(Way(chance, to, F(remedy)) for chance, to in ways), F(0))


def visited(stages: Sequence[Stage[Fraction]]) -> list[Fraction]:
    return [1 + item.redone for item in visits(stages)]


def test_rolled_throughput_yield() -> None:
    """Source: support.minitab.com, rolled throughput yield: .95 × .84 × .88 = .70 (exactly .70224), about 700 of 1,000.

    On the route every failure starts a new part, so each finished part takes 1 / yield starts.
    """
    yields = [F("0.95"), F("0.84"), F("0.88")]
    route = [stage((1 - good, 0)) for good in yields]
    right_first_time = 1 / visited(route)[0]
    assert right_first_time == F("0.70224")
    assert round(float(right_first_time), 2) == 0.70


HALF = F(1, 2)
WALK = [[F(0), HALF, F(0)], [HALF, F(0), HALF], [F(0), HALF, F(0)]]


def test_the_walk_on_five_states() -> None:
    """Source of the walk: Grinstead and Snell, *Introduction to Probability*, section 11.2. N, t and B: value from memory."""
    n = inverse(WALK)
    assert n == [[F(3, 2), F(1), HALF], [F(1), F(2), F(1)], [HALF, F(1), F(3, 2)]]
    assert [sum(row) for row in n] == [3, 4, 3]
    assert [[row[0] / 2, row[2] / 2] for row in n] == [[F(3, 4), F(1, 4)], [HALF, HALF], [F(1, 4), F(3, 4)]]
    assert_numpy_agrees(WALK, n)


def test_the_walk_on_five_states_as_a_route() -> None:
    """Three steps, each sent one back half of the time; falling off the start is a new start. N's first row over 1/4."""
    route = [stage((HALF, 0)), stage((HALF, 0)), stage((HALF, 1))]
    n = inverse(WALK)
    finished = n[0][2] / 2
    assert finished == F(1, 4)
    assert visited(route) == [times / finished for times in n[0]] == [6, 4, 2]
    assert expected_cost(route) == sum(n[0]) / finished == 12


def test_the_two_state_walk() -> None:
    """Source: the same walk on four states. Its page gives 5/3 expected steps; the row sum of its own N is 2, used here."""
    q = [[F(0), HALF], [HALF, F(0)]]
    n = inverse(q)
    assert n == [[F(4, 3), F(2, 3)], [F(2, 3), F(4, 3)]]
    assert sum(n[0]) == 2
    assert [row[1] / 2 for row in n] == [F(1, 3), F(2, 3)]
    assert_numpy_agrees(q, n)
    route = [stage((HALF, 0)), stage((HALF, 0))]
    assert visited(route) == [times / F(1, 3) for times in n[0]] == [4, 2]


#: Source: solutioninn.com 1346768, a textbook problem (Sheskin: attribution from memory): scrap, rework by stage.
SCRAP = [F("0.08"), F("0.06"), F("0.04")]
REWORK = [F("0.12"), F("0.09"), F("0.06")]
PASS = [F("0.80"), F("0.85"), F("0.90")]
Q = [
    [REWORK[0], PASS[0], F(0)],
    [F(0), REWORK[1], PASS[1]],
    [F(0), F(0), REWORK[2]],
]


def six(number: Fraction) -> str:
    return f"{float(number):.6f}"


def test_three_stages_with_rework_and_scrap_as_a_chain() -> None:
    """Inputs from the source; outputs computed."""
    assert all(s + r + p == 1 for s, r, p in zip(SCRAP, REWORK, PASS, strict=True))
    n = inverse(Q)
    assert_numpy_agrees(Q, n)
    assert [six(times) for times in n[0]] == ["1.136364", "0.999001", "0.903352"]
    assert six(sum(n[0], F(0))) == "3.038717"
    assert six(n[0][2] * PASS[2]) == "0.813017"
    assert six(1 - n[0][2] * PASS[2]) == "0.186983"
    assert six(n[1][2]) == "0.993687"
    assert six(n[1][2] * PASS[2]) == "0.894318"
    assert six(n[2][2] * SCRAP[2]) == "0.042553"
    assert PASS[0] * PASS[1] * PASS[2] == F("0.612")


def route_from(first: int, *, cost: Sequence[int] = (1, 1, 1), replacement: int = 0) -> list[Stage[Fraction]]:
    """The stages from ``first`` on: rework repeats the stage, scrap starts a new part."""
    stages = []
    for at in range(first, 3):
        again = Way(REWORK[at], at - first, F(0))
        lost = Way(SCRAP[at], 0, F(replacement))
        stages.append(Stage(F(cost[at]), F(cost[at]), (again, lost), F(0)))
    return stages


@pytest.mark.parametrize(("first", "sold"), [(0, "0.813017"), (1, "0.894318"), (2, "0.957447")])
def test_three_stages_with_rework_and_scrap_as_a_route(first: int, sold: str) -> None:
    """Visits for every good part are the chain's over the chance of being sold, from whichever stage one starts."""
    n = inverse(Q)
    good = n[first][2] * PASS[2]
    assert six(good) == sold
    assert visited(route_from(first)) == [times / good for times in n[first][first:]]


def test_parts_started_for_every_good_one() -> None:
    """1 / .813017 = 1.2300: one, and one more for each that was scrapped."""
    counts = visits(route_from(0))
    assert 1 + sum(item.taken[1] for item in counts) == 1 / (inverse(Q)[0][2] * PASS[2])
    assert f"{float(1 + sum(item.taken[1] for item in counts)):.4f}" == "1.2300"


def test_the_cost_of_a_good_part_is_visits_times_cost_over_the_chance_to_be_good() -> None:
    n, cost, replacement = inverse(Q), (10, 20, 30), 100
    good = n[0][2] * PASS[2]
    worked = sum(times * money for times, money in zip(n[0], cost, strict=True)) / good
    assert expected_cost(route_from(0, cost=cost)) == worked
    scrapped = (1 - good) / good
    assert expected_cost(route_from(0, cost=cost, replacement=replacement)) == worked + replacement * scrapped


def test_the_same_through_a_whole_priced_restoration() -> None:
    """Minutes at 60 an hour are money; replacements are bought in. To the last of 20 digits: chances are decimals."""
    cost, replacement = (10, 20, 30), 100
    steps = [
        step(
            f"stage {at}",
            ref=f"work {at}",
            ways_back=(
                WayBack(D(str(float(REWORK[at]))), f"stage {at}"),
                WayBack(D(str(float(SCRAP[at]))), "stage 0", replacement=D(replacement)),
            ),
        )
        for at in range(3)
    ]
    works = tuple(operation(f"work {at}", run=D(minutes)) for at, minutes in enumerate(cost))
    result = priced(part("piece", *steps), operations=works).result
    exact = expected_cost(route_from(0, cost=cost, replacement=replacement))
    assert close(result.cost, D(exact.numerator) / exact.denominator)
    assert close(result.allowance, result.cost - 60)


def test_a_stage_alone_is_visited_one_over_one_less_its_chance() -> None:
    for percent in range(100):
        q = F(percent, 100)
        assert visited([stage((q, 0))]) == [1 / (1 - q)]
