"""Years of a made workshop in the engine alone, drawn from the hidden truth in ``fixtures/history.toml``."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from quotes.engine.learning.factors import Learned, Piece, Task
from quotes.engine.learning.making import Customers, Mechanic, Truth, chosen, factor, generator, worked

FIXTURES = Path(__file__).parents[3] / "fixtures"
#: Tasks of a bike, and the most steps that one of them holds. Invented.
TASKS, STEPS = 45, 5
#: How quantities lie about their middle, by measure: mean and deviation of their logarithm. Invented.
QUANTITY = {"hour": (0.5, 0.6), "dm2": (2.0, 0.9), "opening": (1.5, 0.7), "kg": (0.5, 0.9), "spoke": (3.5, 0.2)}


def read(name: str) -> dict[str, Any]:
    return tomllib.loads((FIXTURES / name).read_text(encoding="utf-8"))


def pair(told: Any) -> tuple[float, float]:
    return (told["setup"], told["run"]) if isinstance(told, dict) else (told, told)


@cache
def truth() -> Truth:
    told = read("history.toml")
    return Truth(
        **told["spread"],
        operations={name: pair(value) for name, value in told["operation"].items()},
        mechanics=[Mechanic(m["username"], m["name"], tuple(m["grades"]), m["pace"]) for m in told["mechanic"]],
        rework=told["rework"]["operation"],
        customers=Customers(**told["customers"]),
    )


@cache
def operations() -> list[dict[str, Any]]:
    return read("operations.toml")["operation"]


def years(seed: int, bikes: int) -> list[Task]:
    """First-pass tasks of so many bikes. Steps of one task share its set-up."""
    draw, known, found = generator(seed), truth(), []
    for bike in range(bikes):
        of_bike = factor(draw, known.bike)
        for number in range(TASKS):
            told = operations()[int(draw.integers(len(operations())))]
            times = told["times"][-1]
            count = int(draw.integers(1, STEPS + 1))
            lies = QUANTITY.get(told["measure"])
            steps = [
                Piece(
                    told["name"],
                    float(times.get("setup", 0)) / count,
                    float(times["run"]) * (float(draw.lognormal(*lies)) if lies else 1.0),
                    told["grade"],
                )
                for _step in range(count)
            ]
            who = chosen(draw, known, told["grade"])
            found.append(
                worked(draw, known, steps, key=f"{bike:05} {number:02}", bike=str(bike), of_bike=of_bike, who=who)
            )
    return found


def pace(tasks: list[Task]) -> float:
    """The true pace of those who work, by the standard minutes each did."""
    own = {mechanic.key: mechanic.pace for mechanic in truth().mechanics}
    by_task = [(task.standard, own[name]) for task in tasks for name in task.people]
    return sum(standard * each for standard, each in by_task) / sum(standard for standard, _each in by_task)


def true_factors(tasks: list[Task]) -> dict[str, float]:
    """By operation what it really takes against its standard, as it was mixed, by those who do the work."""
    mixed: dict[str, list[float]] = {}
    for task in tasks:
        for piece in task.pieces:
            sums = mixed.setdefault(piece.operation, [0.0, 0.0])
            sums[0] += piece.setup
            sums[1] += piece.run
    who = pace(tasks)
    found = {}
    for name, (setup, run) in mixed.items():
        factors = truth().operations[name]
        found[name] = (factors[0] * setup + factors[1] * run) / (setup + run) * who
    return found


def judged(learned: Learned, tasks: list[Task]) -> list[tuple[bool, float, float]]:
    """For each operation: whether its interval covers the truth, and how far off learned and unlearned are [fraction]."""
    true = true_factors(tasks)
    return [
        (one.low <= true[name] <= one.high, abs(one.factor / true[name] - 1), abs(1 / true[name] - 1))
        for name, one in learned.operations.items()
    ]
