"""The plan and the promise of a large restoration, and what its arrays alone take without calendars."""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import numpy as np

from quotes.engine.chance.promise import promise
from quotes.engine.inputs import Calendar, Restoration, Schedule
from quotes.engine.network import Network, network
from quotes.engine.plan import plan
from quotes.engine.rollup import price
from tests.bench.bikes import bike
from tests.bench.measure import side_by_side

STEPS = 1_500
D = Decimal
WEEK = tuple((weekday, 480, 1020) for weekday in range(5))
PLACES = {"blast": "blast cabinet", "paint": "spray area", "powder": "oven", "fit": "bench"}


def scheduled() -> Restoration:
    """The bike with a week of five days, a plater's of four, lead times, places, drying paint with a recoat window."""
    plain = bike(STEPS)
    works = tuple(
        replace(
            item,
            place=PLACES.get(item.key, ""),
            occupies=item.key == "powder",
            elapsed=D({"paint": 720, "powder": 60}.get(item.key, 0)),
            latest_wait=D(2880) if item.key == "paint" else None,
        )
        for item in plain.operations
    )
    lots = tuple(replace(item, lead_days=15, transport_days=1, calendar="plater") for item in plain.services)
    bought = tuple(replace(item, lead_days=20) for item in plain.purchases)
    calendars = (Calendar("", "shop", WEEK, ("2026-04-03", "2026-04-06")), Calendar("plater", "plater", WEEK[:4]))
    when = Schedule("2026-01-05", calendars, hands=D(2), load=(("", D(9000)), ("oven", D(600))))
    return replace(plain, operations=works, services=lots, purchases=bought, schedule=when)


def drawn(graph: Network, trials: int) -> None:
    """A lognormal factor for each step in each trial: the chance alone."""
    source = np.random.default_rng(1)
    for _ in graph.home:
        np.exp(source.standard_normal(trials))


def bare(graph: Network, trials: int) -> None:
    """An addition for each node and a maximum for each wait, for all trials: no calendar, no chance, no redo."""
    length = np.ones(trials)
    ends = np.zeros((len(graph.nodes), trials))
    for index, before in enumerate(graph.before):
        for pred in before:
            np.maximum(ends[index], ends[pred], out=ends[index])
        np.add(ends[index], length, out=ends[index])


def lines() -> Iterator[str]:
    restoration = scheduled()
    explained = price(restoration)
    steps, batches = explained.steps, explained.batches
    made = plan(restoration, steps, batches)
    assert len(made.steps) == STEPS
    kept = promise(restoration, steps, batches, made)
    graph = network(restoration, steps, batches)
    waits = sum(len(before) for before in graph.before)
    plans, promises, floor, chance = side_by_side(
        lambda: plan(restoration, steps, batches),
        lambda: promise(restoration, steps, batches, made),
        lambda: bare(graph, kept.trials),
        lambda: drawn(graph, kept.trials),
        rounds=5,
    )
    yield (
        f"{STEPS:,} steps in {len(graph.nodes)} batches with {waits:,} waits and {len(graph.limits)} latest waits: "
        f"planned forward and back in {plans * 1e3:.1f} ms of processor time"
    )
    yield (
        f"ready day kept {kept.kept:%} of the time: {promises * 1e3:.0f} ms for {kept.trials:,} trials, standard error "
        f"{kept.error} working days (target 1,000 ms)"
    )
    yield (
        f"bare additions and maximums of the same graph take {floor * 1e3:.1f} ms: {promises / floor:.0f} times that; with a "
        f"bare lognormal factor for each step, {(floor + chance) * 1e3:.0f} ms: {promises / (floor + chance):.1f} times that"
    )
