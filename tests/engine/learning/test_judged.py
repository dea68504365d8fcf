"""Prices made with what was learned, judged on bikes that come after: contingency holds 4 in 5, unless customers know more.

A past is drawn from the hidden truth, learned from, and bikes are priced with it by the engine as any quote is; then they are
worked on under the same truth. Jobs of several pasts are pooled. Labour alone, without redo: that is what is learned here.
"""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import pytest

from quotes.engine.chance.quoting import quote
from quotes.engine.inputs import Operation
from quotes.engine.learning.calibration import Held, calibration
from quotes.engine.learning.factors import RUN, SETUP, Learned, Piece, Task, learn
from quotes.engine.learning.making import Customers, accepts, chosen, factor, generator, worked
from tests.engine.build import grade, operation, part, policy, restoration, step
from tests.engine.learning import made

PAST, WANTED = 80, Decimal("0.8")
KNOWING_NOTHING = replace(made.truth().customers, insight=0.0)


def priced(learned: Learned, pieces: list[Piece], index: int) -> tuple[int, int]:
    """Expected cost and contingency of a bike by what was learned; a minute costs one."""
    operations: dict[str, Operation] = {}
    parts = []
    for number, piece in enumerate(pieces):
        one = learned.operations[piece.operation]
        setup, run = (learned.apart.get((piece.operation, name), one).factor for name in (SETUP, RUN))
        key = f"{piece.operation} {number}"
        operations[key] = operation(
            key,
            setup=Decimal(str(round(piece.setup * setup, 4))),
            run=Decimal(str(round(piece.run * run, 4))),
            spread=Decimal(str(round(one.spread, 4))),
        )
        parts.append(part(f"{index}-{number}", step(f"{index}-{number}-s", ref=key)))
    terms = policy(kept=WANTED, pace_spread=Decimal(str(round(learned.bikes, 4))))
    found = quote(
        restoration(*parts, operations=tuple(operations.values()), grades=(grade(cost_rate=Decimal(60)),), policy=terms)
    )
    return int(found.explained.result.cost * 100), int(found.explained.result.contingency * 100)


def jobs(seed: int, count: int, customers: Customers) -> Iterator[Held]:
    """Accepted bikes of a shop that learned from one past."""
    learned = learn(made.years(seed, PAST))
    draw, truth, taken = generator(10_000 + seed), made.truth(), 0
    index = 0
    while taken < count:
        index += 1
        of_bike = factor(draw, truth.bike)
        if not accepts(draw, customers, price=1.0, expected=1.0, of_bike=of_bike):
            continue
        taken += 1
        pieces = [together(task) for task in made.years(20_000 + 1000 * seed + index, 1)]
        actual = sum(
            worked(draw, truth, [piece], key="", bike="", of_bike=of_bike, who=chosen(draw, truth, piece.grade)).actual
            for piece in pieces
        )
        yield Held(*priced(learned, pieces, index), actual=int(actual * 100))


def together(task: Task) -> Piece:
    """What a task holds; made tasks are of one operation."""
    (piece,) = task.pieces
    return piece


def pooled(pasts: range, count: int, customers: Customers) -> list[Held]:
    return [job for seed in pasts for job in jobs(seed, count, customers)]


def test_prices_hold_about_as_often_as_wanted() -> None:
    """The quick form: 2 pasts of 60 jobs, so within what chance leaves of 4 in 5 (3.7 % either way, doubled)."""
    found = calibration(pooled(range(2), 60, KNOWING_NOTHING), wanted=float(WANTED))
    assert 0.72 <= found.kept.value <= 0.88


@pytest.mark.long
def test_prices_hold_four_in_five_where_customers_choose_independently_and_less_often_where_not() -> None:
    """1,000 jobs of ten pasts each. With what customers know (``insight`` of the hidden truth) dear bikes are taken more often."""
    alone = calibration(pooled(range(10), 100, KNOWING_NOTHING), wanted=float(WANTED))
    assert alone.kept.count >= 1000
    assert 0.75 <= alone.kept.value <= 0.85
    knowing = calibration(pooled(range(10), 100, made.truth().customers), wanted=float(WANTED))
    assert knowing.kept.value < alone.kept.value - 0.02
    assert knowing.over is not None
    assert alone.over is not None
    assert knowing.over > alone.over
    print(f"held {alone.kept.value:.3f} alone, {knowing.kept.value:.3f} where customers know more")
