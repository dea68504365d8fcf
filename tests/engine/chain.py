"""A route with ways back as an absorbing Markov chain: the long way round, to check the recursion by.

A state is (frontier, stage): the furthest stage the part has reached, and the stage it stands at; at the frontier
itself there are two, the first visit and all later ones. N = (I − Q)⁻¹ then says how often each state is visited.
Everything is exact when the route is written in fractions.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from random import Random

from quotes.engine.rework import Stage, Way

State = tuple[int, int, bool]  # frontier, stage, first visit of the frontier


@dataclass(frozen=True)
class Move:
    """From one state to another, None for done, with what the way costs."""

    to: State | None
    chance: Fraction
    remedy: Fraction
    way: int | None


def moves(stages: Sequence[Stage[Fraction]], state: State) -> list[Move]:
    frontier, at, _ = state
    stage = stages[at]
    back = [Move((frontier, way.to, False), way.chance, way.remedy, number) for number, way in enumerate(stage.ways)]
    onward: State | None = (frontier, at + 1, False)
    if at == frontier:
        onward = (at + 1, at + 1, True) if at + 1 < len(stages) else None
    return [*back, Move(onward, 1 - sum(move.chance for move in back), Fraction(0), None)]


def states(count: int) -> list[State]:
    return [state for f in range(count) for state in ((f, f, True), *((f, i, False) for i in range(f + 1)))]


def solved(rows: list[dict[int, Fraction]], right: list[Fraction]) -> list[Fraction]:
    """x with ``rows`` x = ``right``, by elimination."""
    rows, right = [dict(row) for row in rows], list(right)
    for pivot in range(len(rows)):
        for below in range(pivot + 1, len(rows)):
            factor = rows[below].pop(pivot, 0)
            if not factor:
                continue
            factor /= rows[pivot][pivot]
            right[below] -= factor * right[pivot]
            for column, value in rows[pivot].items():
                if column > pivot:
                    rows[below][column] = rows[below].get(column, Fraction(0)) - factor * value
    result = [Fraction(0)] * len(rows)
    for pivot in range(len(rows) - 1, -1, -1):
        known = sum((value * result[column] for column, value in rows[pivot].items() if column > pivot), Fraction(0))
        result[pivot] = (right[pivot] - known) / rows[pivot][pivot]
    return result


class Chain:
    """I − Q of a route, with what it says about visits and cost."""

    def __init__(self, stages: Sequence[Stage[Fraction]]) -> None:
        self.stages = stages
        self.states = states(len(stages))
        self.index = {state: i for i, state in enumerate(self.states)}
        self.moves = [moves(stages, state) for state in self.states]
        self.i_minus_q: list[dict[int, Fraction]] = []
        for i, leaving in enumerate(self.moves):
            row = {i: Fraction(1)}
            for move in leaving:
                if move.to is not None and move.chance:
                    j = self.index[move.to]
                    row[j] = row.get(j, Fraction(0)) - move.chance
            self.i_minus_q.append(row)

    def visits(self) -> list[Fraction]:
        """The first row of N: how often each state is visited, from the start."""
        columns: list[dict[int, Fraction]] = [{} for _ in self.states]
        for i, row in enumerate(self.i_minus_q):
            for j, value in row.items():
                columns[j][i] = value
        return solved(columns, [Fraction(int(i == 0)) for i in range(len(self.states))])

    def cost(self, state: State) -> Fraction:
        stage = self.stages[state[1]]
        return stage.first if state[2] else stage.redo

    def mean_and_variance(self) -> tuple[Fraction, Fraction]:
        """First and second moment of the cost to the end from every state, visits independent."""
        costs = [self.cost(state) for state in self.states]
        spreads = [(cost * self.stages[s[1]].spread) ** 2 for cost, s in zip(costs, self.states, strict=True)]
        means = solved(
            self.i_minus_q,
            [c + sum(m.chance * m.remedy for m in leaving) for c, leaving in zip(costs, self.moves, strict=True)],
        )
        squares = []
        for cost, spread, leaving in zip(costs, spreads, self.moves, strict=True):
            square = spread
            for move in leaving:
                now = cost + move.remedy
                later = means[self.index[move.to]] if move.to is not None else Fraction(0)
                square += move.chance * (now * now + 2 * now * later)
            squares.append(square)
        seconds = solved(self.i_minus_q, squares)
        return means[0], seconds[0] - means[0] ** 2


def route(by: Random, most: int = 5) -> list[Stage[Fraction]]:
    """A random route in fractions, with up to three ways back per stage."""
    stages = []
    for at in range(by.randint(1, most)):
        room, ways = 19, []
        for _ in range(by.choice((0, 1, 1, 2, 3))):
            chance = by.randint(0, room // 2)
            room -= chance
            ways.append(Way(Fraction(chance, 20), by.randint(0, at), Fraction(by.randint(0, 9))))
        first = Fraction(by.randint(0, 40))
        stages.append(Stage(first, first + by.randint(0, 20), tuple(ways), Fraction(by.randint(0, 6), 10)))
    return stages
