"""Published figures of cost risk: sums of uncertain costs, three points, the cost that is kept 4 times in 5. SOURCES 11 and 4."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from scipy import stats

from quotes.engine.chance.assessment import Assessment, not_exceeded
from quotes.engine.chance.contingency import assess
from quotes.engine.chance.draws import strata
from quotes.engine.chance.quantiles import pert
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Part, Work
from quotes.engine.results import Branch
from tests.engine.build import operation, part, policy, priced, restoration, service, step

D = Decimal
STILL = {"pace_spread": D(0), "status_spreads": (("seen", D(0)), ("guessed", D("0.5")))}


def assessed(*parts: Part, branches: Sequence[Branch] = (), **changes: Any) -> Assessment:
    """The bike's pace does not vary; prices only where they are guessed."""
    changes = {"policy": policy(**STILL)} | changes
    return assess(restoration(*parts, **changes), priced(*parts, **changes).steps, branches)


def found(low: Any, likely: Any, high: Any, uid: str = "found") -> Branch:
    """Something that happens for sure and costs from low to high."""
    return Branch(uid, "a", "a repair", D(1), D(low), D(likely), D(high))


NOTHING_TO_DO = part("a")


def test_the_contingency_of_a_triangle_is_its_printed_quantile_less_its_mean() -> None:
    """Range of davion.com's tutorial: 10,000 −10 % / +20 %. Mean 10,333.33, variance 388,888.9, median 10,267.95, and
    P80 = b − √(.2 (b − a)(b − m)) = 10,904.55 are computed, and scipy's.

    The engine has no triangles; its strata and its order statistic must give the same of one.
    """
    triangle = stats.triang(1 / 3, loc=9_000, scale=3_000)
    draws = triangle.ppf(strata())
    assert draws.mean() == pytest.approx(10_333.33, abs=0.01)
    assert draws.var() == pytest.approx(388_888.9, rel=1e-6)
    printed = 12_000 - (0.2 * 3_000 * 2_000) ** 0.5
    assert printed == pytest.approx(10_904.55, abs=0.005)
    width = 0.15  # of one stratum, there
    assert float(not_exceeded(draws, D("0.5"))) == pytest.approx(10_267.95, abs=width)
    assert float(not_exceeded(draws, D("0.8"))) == pytest.approx(10_904.55, abs=width)


def tasks(*minutes: Any) -> tuple[Part, ...]:
    """Tasks that take so many minutes, at 1 a minute."""
    return tuple(part(f"task {n}", step(f"s{n}", f"work {n}", quantity=D(many))) for n, many in enumerate(minutes))


def operations(*spreads: Any) -> Any:
    return tuple(operation(f"work {n}", spread=D(spread)) for n, spread in enumerate(spreads))


def test_a_sum_of_tasks_that_vary_apart() -> None:
    """Source: github.com/paulgovan/PRA, tests of its second moment method: means 10, 15, 20, variances 4, 9, 16 make
    mean 45, sd √29 = 5.385165.
    """
    result = assessed(*tasks(10, 15, 20), operations=operations("0.2", "0.2", "0.2"))
    assert result.mean == 45
    assert float(result.deviation) == pytest.approx(5.385165, abs=1e-6)


def test_a_sum_of_tasks_that_vary_together() -> None:
    """The same source, correlated by .5, .3, .4: sd 7.028513.

    What ties parts together in a shop is a price that both pay. Each pair shares a vendor whose price is guessed (CV
    .5), for charges that give just their covariance 3, 2.4, 4.8; the tasks' own work has what is left of 4, 9, 16.
    """
    one_two, one_three, two_three = (1.6, 3 / 1.6), (1.1, 2.4 / 1.1), (2.0, 2.4)
    charged = {0: (one_two[0], one_three[0]), 1: (one_two[1], two_three[0]), 2: (one_three[1], two_three[1])}
    vendors = {0: ("v01", "v02"), 1: ("v01", "v12"), 2: ("v02", "v12")}
    parts, works = [], []
    for task, (mean, variance) in enumerate([(10, 4), (15, 9), (20, 16)]):
        charges = [load / 0.5 for load in charged[task]]
        own, left = mean - sum(charges), variance - sum(load**2 for load in charged[task])
        works.append(operation(f"work {task}", spread=D(left**0.5 / own)))
        jobs = [
            step(f"{task} {ref}", ref, Work.SERVICE, quantity=D(charge))
            for ref, charge in zip(vendors[task], charges, strict=True)
        ]
        parts.append(part(f"task {task}", step(f"s{task}", f"work {task}", quantity=D(own)), *jobs))
    guessed = tuple(replace(service(key), status="guessed") for key in ("v01", "v02", "v12"))
    result = assessed(*parts, operations=tuple(works), services=guessed)
    assert float(result.mean) == pytest.approx(45)
    assert float(result.deviation) == pytest.approx(7.028513, abs=1e-6)
    assert result.totals.std() == pytest.approx(7.028513, rel=0.02)


def test_three_points_as_a_pert_beta() -> None:
    """Definition: sparkthread.net. (30, 50, 100): mean 55, variance 160.714 and *not* ((b − a)/6)² = 136.11, P80 66.259;
    the numbers are scipy's, with α 2.142857 and β 3.857143.
    """
    beta = stats.beta(2.142857142857143, 3.857142857142857, loc=30, scale=70)
    assert (beta.mean(), beta.var(), beta.ppf(0.8)) == pytest.approx((55, 160.714, 66.259), abs=5e-4)
    assert float(pert(np.array([0.8]), 30, 50, 100)[0]) == pytest.approx(66.259, abs=5e-4)
    result = assessed(NOTHING_TO_DO, branches=[found(30, 50, 100)])
    assert result.mean == 55
    assert float(result.deviation) ** 2 == pytest.approx(160.714, abs=5e-4)
    assert float(result.quantile) == pytest.approx(66.259, abs=0.005)
    assert result.contingency == D("11.26")
    assert result.chance_of_loss(D("66.26")) == pytest.approx(D("0.2"), abs=D("0.0001"))


UNIVERSITY = [
    ("A", (20, 30, 40), 30),
    ("B", (20, 65, 80), 60),
    ("C", (50, 60, 100), 65),
    ("D", (30, 50, 100), 55),
    ("E", (25, 30, 35), 30),
    ("G", (25, 30, 35), 30),
    ("H", (10, 20, 30), 20),
    ("I", (20, 25, 60), 30),
    ("J", (8, 10, 12), 10),
    ("L", (20, 25, 60), 30),
]


@pytest.mark.parametrize(("name", "points", "expected"), UNIVERSITY, ids=[row[0] for row in UNIVERSITY])
def test_expected_values_of_a_published_table(name: str, points: tuple[int, int, int], expected: int) -> None:
    """Source: Heizer and Render, *Operations Management*, Southwestern University: te = (a + 4m + b) / 6."""
    assert assessed(NOTHING_TO_DO, branches=[found(*points)]).mean == expected


def test_three_points_out_of_order_are_refused() -> None:
    """Source: brainmass.com prints activity E of the same table as 25, 50, 35, which no three points can be."""
    with pytest.raises(BadInput, match="a: “a repair” costs 25, 50, 35: give 0 or more, in order") as caught:
        assessed(NOTHING_TO_DO, branches=[found(25, 50, 35)])
    assert caught.value.field == "likely"
