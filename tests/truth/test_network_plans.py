"""Published networks through the plan: begins, ends, slack and critical paths; sums of three-point estimates; a maximum.

A day of the sources is a working day of eight hours here, from Monday to Friday. An activity is a part with one step
that waits for others; an activity on an arrow waits for every arrow into the event it leaves from.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from itertools import pairwise
from math import pi, sqrt
from random import Random

import networkx as nx
import numpy as np
import pytest
from hypothesis import given

from quotes.engine.calendars import DAY, day_of
from quotes.engine.chance.clocks import Clocks
from quotes.engine.chance.durations import Durations, Sample
from quotes.engine.chance.redo import Redo
from quotes.engine.chance.trials import Shape, ends
from quotes.engine.inputs import Restoration
from quotes.engine.network import network
from quotes.engine.plan import plan, times_of
from quotes.engine.planned import Plan
from quotes.engine.rollup import price
from tests.engine import build
from tests.engine.days import START, calendar, schedule
from tests.engine.strategies import seeds

D = Decimal
WORKDAY = 480
Waits = Mapping[str, Sequence[str]]
SHOP = calendar(hours=tuple((weekday, 480, 480 + WORKDAY) for weekday in range(5)))
ALWAYS = calendar(hours=tuple((weekday, 0, DAY) for weekday in range(7)))


def activities(days: Mapping[str, float], waits: Waits, *, sd: Mapping[str, float] | None = None) -> Restoration:
    """Each activity a part with one step; ``sd`` [days] makes its time uncertain."""
    works = tuple(
        build.operation(
            name,
            run=D(str(length)) * WORKDAY,
            shares_setup=False,
            spread=D(str(round(sd[name] / length, 15))) if sd else D(0),
        )
        for name, length in days.items()
    )
    parts = [build.part(f"part {name}", build.step(name, name, waits_for=tuple(waits.get(name, ())))) for name in days]
    return build.restoration(
        *parts, operations=works, schedule=schedule(shop=SHOP), policy=build.policy(pace_spread=D(0))
    )


def on_arrows(arrows: Mapping[str, int]) -> Waits:
    """Activities named by their events, 1-2, as what waits for what."""
    return {arrow: [other for other in arrows if other.split("-")[1] == arrow.split("-")[0]] for arrow in arrows}


def planned(restoration: Restoration) -> Plan:
    explained = price(restoration)
    return plan(restoration, explained.steps, explained.batches)


def working_days(text: str) -> float:
    """Working days from the start, by numpy's count of weekdays."""
    day, clock = text.split("T")
    minutes = int(clock[:2]) * 60 + int(clock[3:]) - 480
    return int(np.busday_count(START, day)) + minutes / WORKDAY


def figures(made: Plan) -> dict[str, tuple[float, float, float, float]]:
    """ES, EF, LS, LF in working days."""
    return {
        step.uid: (
            working_days(step.early_start),
            working_days(step.early_finish),
            working_days(step.late_start),
            working_days(step.late_finish),
        )
        for step in made.steps
    }


def slack(made: Plan) -> dict[str, float]:
    return {step.uid: step.slack / WORKDAY for step in made.steps}


def test_activities_on_arrows() -> None:
    """Source: chapter 8 solutions of a management science text, problem 1, ar.scribd.com/doc/47113515/TaylCh08."""
    arrows = {"1-2": 7, "1-3": 10, "2-4": 6, "3-4": 5, "3-5": 4, "4-5": 3, "5-6": 2}
    made = planned(activities(arrows, on_arrows(arrows)))
    assert figures(made) == {
        "1-2": (0, 7, 2, 9),
        "1-3": (0, 10, 0, 10),
        "2-4": (7, 13, 9, 15),
        "3-4": (10, 15, 10, 15),
        "3-5": (10, 14, 14, 18),
        "4-5": (15, 18, 15, 18),
        "5-6": (18, 20, 18, 20),
    }
    assert slack(made) == {"1-2": 2, "1-3": 0, "2-4": 2, "3-4": 0, "3-5": 4, "4-5": 0, "5-6": 0}
    assert made.chain == ("1-3", "3-4", "4-5", "5-6")
    assert working_days(made.path_ends) == 20


def test_activities_on_nodes() -> None:
    """Source: studylib.net/doc/8378728."""
    days = {"A": 6, "B": 2, "C": 2, "D": 3, "F": 2, "E": 4, "G": 1}
    made = planned(activities(days, {"B": "A", "C": "A", "D": "B", "F": "C", "E": "DF", "G": "E"}))
    assert working_days(made.path_ends) == 16
    assert made.chain == ("A", "B", "D", "E", "G")
    assert figures(made)["C"] == (6, 8, 7, 9)
    assert figures(made)["F"] == (8, 10, 9, 11)
    assert slack(made) == {"A": 0, "B": 0, "C": 1, "D": 0, "E": 0, "F": 1, "G": 0}


# -- three-point estimates -------------------------------------------------------------------------------------------

Three = Mapping[str, tuple[float, float, float]]

#: Source: ru.scribd.com/document/438492051; predecessors brainmass.com 205599, where the row of C (after A) is missing.
HOSPITAL: Three = {
    "A": (20, 30, 40),
    "B": (20, 65, 80),
    "C": (50, 60, 100),
    "D": (30, 50, 100),
    "E": (25, 30, 35),
    "F": (0.1, 0.1, 0.1),
    "G": (25, 30, 35),
    "H": (10, 20, 30),
    "I": (20, 25, 60),
    "J": (8, 10, 12),
    "K": (0.1, 0.1, 0.1),
    "L": (20, 25, 60),
}
HOSPITAL_WAITS = {
    **dict.fromkeys("BC", "A"),
    "D": "C",
    "E": "B",
    "F": "E",
    "G": "DE",
    "H": "G",
    **dict.fromkeys("IJ", "H"),
    "K": "J",
    "L": "IK",
}
#: Source: flylib.com/books/en/3.287.1.117/1; the network is not shown, only the path 1-3-5-7.
PATH: Three = {"1": (5, 8, 17), "3": (3, 5, 7), "5": (4, 6, 8), "7": (3, 4, 5)}
#: Value from memory: a textbook's paper mill.
MILL: Three = {
    "A": (1, 2, 3),
    "B": (2, 3, 4),
    "C": (1, 2, 3),
    "D": (2, 4, 6),
    "E": (1, 4, 7),
    "F": (1, 2, 9),
    "G": (3, 4, 11),
    "H": (1, 2, 3),
}
MILL_WAITS = {"C": "A", "D": "AB", "E": "C", "F": "C", "G": "DE", "H": "FG"}


def expected(three: Three) -> dict[str, float]:
    """te = (a + 4m + b) / 6, given to the engine as durations."""
    return {name: round((a + 4 * m + b) / 6, 9) for name, (a, m, b) in three.items()}


def deviations(three: Three) -> dict[str, float]:
    """(b − a) / 6, given to the engine as spreads."""
    return {name: (b - a) / 6 for name, (a, _, b) in three.items()}


def test_a_hospital_by_expected_times() -> None:
    made = planned(activities(expected(HOSPITAL), HOSPITAL_WAITS))
    lengths = {name: end - begin for name, (begin, end, _, _) in figures(made).items()}
    given_te = dict(zip("ABCDEFGHIJKL", (30, 60, 65, 55, 30, 0.1, 30, 20, 30, 10, 0.1, 30), strict=True))
    assert lengths == pytest.approx(given_te)
    assert working_days(made.path_ends) == 260
    assert made.chain == ("A", "C", "D", "G", "H", "I", "L")
    free = {name: round(days, 6) for name, days in slack(made).items() if days}
    assert free == {"B": 30, "E": 30, "F": 139.9, "J": 19.9, "K": 19.9}


def test_a_path_and_a_mill_by_expected_times() -> None:
    """The mill: value from memory."""
    made = planned(activities(expected(PATH), {"3": "1", "5": "3", "7": "5"}))
    assert [end - begin for begin, end, _, _ in figures(made).values()] == [9, 5, 6, 4]
    assert working_days(made.path_ends) == 24
    mill = planned(activities(expected(MILL), MILL_WAITS))
    assert working_days(mill.path_ends) == 15
    assert mill.chain == ("A", "C", "E", "G", "H")


TRIALS = 4_000


def simulated(restoration: Restoration, seed: str) -> np.ndarray:
    """When it ends in each trial [working days]."""
    explained = price(restoration)
    graph = network(restoration, explained.steps, explained.batches)
    assert restoration.schedule is not None
    times = times_of(restoration.schedule, graph)
    clocks = Clocks.of(times, day_of(START) + 1500)
    durations = Durations(restoration, graph, times, explained.steps, seed)
    sample = durations.sample(TRIALS, Redo(restoration, graph, explained.steps, durations.streams))
    done = ends(graph, Shape.of(graph, ()), clocks, sample, 480, ())
    return clocks.shop.worked_by(done.path) / WORKDAY


@pytest.mark.parametrize(
    ("three", "path", "mean", "variance", "due", "chance"),
    [
        (HOSPITAL, "ACDGHIL", 260, 319.444, 270, 0.71209),
        (PATH, "1357", 24, 5.0, 28, 0.96318),
        (MILL, "ACEGH", 15, 3.11, 16, 0.7146),
    ],
    ids=["hospital", "path", "mill (value from memory)"],
)
def test_times_and_variances_add_up_along_a_path(
    three: Three, path: str, mean: float, variance: float, due: float, chance: float
) -> None:
    """The sources take the sum for normal. Ours are lognormal, so the chance is that of a skewed sum: within .03."""
    steps = {name: three[name] for name in path}
    waits = {after: before for before, after in pairwise(path)}
    found = simulated(activities(expected(steps), waits, sd=deviations(steps)), "a path of a textbook")
    assert abs(found.mean() - mean) < 4 * sqrt(variance / TRIALS)
    # Standard error of a variance, with the fourth moment as found.
    fourth = float(((found - found.mean()) ** 4).mean())
    assert abs(found.var() - variance) < 4 * sqrt((fourth - variance**2) / TRIALS)
    assert abs(float((found <= due).mean()) - chance) < 0.03


def test_the_greatest_of_two_normal_times() -> None:
    """Source: C. E. Clark, *The greatest of a finite set of random variables* (1961): for two independent N(10, 2²) the
    mean is 10 + 2/√π = 11.128 and the variance 4 (1 − 1/π)."""
    restoration = activities({"a": 10, "b": 10}, {})
    explained = price(restoration)
    graph = network(restoration, explained.steps, explained.batches)
    clocks = Clocks.of(times_of(schedule(shop=ALWAYS), graph), day_of(START) + 60)
    count = 200_000
    draws = np.random.default_rng(1961).normal(10 * DAY, 2 * DAY, size=(2, count))
    minutes = list(np.maximum(0, np.rint(draws)).astype(np.int64))
    sample = Sample.of(graph, minutes, [None, None], count)
    done = ends(graph, Shape.of(graph, ()), clocks, sample, 0, ()).path / DAY
    variance = 4 * (1 - 1 / pi)
    assert round(10 + 2 / sqrt(pi), 3) == 11.128
    assert abs(done.mean() - (10 + 2 / sqrt(pi))) < 4 * sqrt(variance / count)
    assert abs(done.var() - variance) < 0.05


# -- a reference library ---------------------------------------------------------------------------------------------


@given(seeds)
def test_the_longest_way_is_the_one_networkx_finds(seed: int) -> None:
    by = Random(seed)
    names = [f"n{number}" for number in range(by.randint(1, 12))]
    days = {name: by.choice((0.5, 1, 2, 3.25, 7)) for name in names}
    waits = {name: by.sample(names[:at], by.randint(0, min(at, 3))) for at, name in enumerate(names)}
    made = planned(activities(days, waits))
    graph = nx.DiGraph()
    for name in names:
        graph.add_edge((name, "begin"), (name, "end"), weight=days[name])
        graph.add_edges_from((((pred, "end"), (name, "begin")) for pred in waits[name]), weight=0)
    longest = nx.dag_longest_path_length(graph)
    assert working_days(made.path_ends) == longest
    # A step is critical when the longest way through it is as long as any.
    for step in made.steps:
        before = nx.dag_longest_path_length(
            graph.subgraph(nx.ancestors(graph, (step.uid, "end")) | {(step.uid, "end")})
        )
        behind = nx.dag_longest_path_length(
            graph.subgraph(nx.descendants(graph, (step.uid, "end")) | {(step.uid, "end")})
        )
        # The ready day has room until it closes.
        room = -longest % 1
        assert step.slack / WORKDAY == pytest.approx(longest - before - behind + room)
