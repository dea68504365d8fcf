"""How long work really takes against its standard: by operation, by person, by grade, by bike.

    y = log(actual / standard) = μ + operation + person + bike + error

over the totals of first-pass tasks, never of how a task's minutes were split: nobody knows those. Operations enter by their
share of the task's standard minutes, people by their share of the minutes clocked. All three are random effects with
variances of their own, estimated from the tasks and shrunk (`quotes.engine.learning.mixed`). Standard minutes are those at the pace
the grade is priced at and a shop factor of 1, so that what is learned is the factor to note.

Minutes of several operations add up, their logarithms do not. So the shares are taken again, `AGAIN` times, of the minutes
expected by what is learned so far, and the equations are those of the tangent there (M. J. Lindstrom and D. M. Bates,
Biometrics 46 (1990), 673-687, from memory).

Where set-up and run of an operation were mixed more than threefold differently, both have a factor of their own.

Back to minutes the factor is exp(m + (σ² + v) / 2): m the operation with the people who do the work, v its posterior
variance, σ² how far its tasks lie apart. A task whose error is far out (modified z-score above 3.5; B. Iglewicz and D. C.
Hoaglin, *How to Detect and Handle Outliers*, 1993, from memory) is named and left out.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, expm1, log, log1p, sqrt
from typing import TypeVar

import numpy as np

from quotes.engine.learning.mixed import Array, Design, Fit, Variances, fitted, reml, sums
from quotes.engine.learning.samples import certainty, needed

#: How differently run and set-up must have been mixed before each is learned by itself.
THREEFOLD = 3.0
#: Of fewer tasks with an operation its set-up and run are not told apart.
APART_FROM = 12
FAR_OUT = 3.5
AGAIN = 2
#: No factor further than this [log] is believed where shares are taken again: twenty times as long, or as short.
FARTHEST = 3.0
#: The logarithm of a factor is told no farther than this.
HELD = 20.0
#: The pooled spread of tasks counts as so many tasks of an operation.
POOLED = 10.0
#: How near a time is wanted to be known, for how many more tasks that takes.
ACCURACY = 0.1

SETUP, RUN = "set-up", "run"
Effect = tuple[str, str]
Name = TypeVar("Name", str, Effect)


@dataclass(frozen=True, slots=True)
class Piece:
    """What a task holds of one operation: standard minutes of set-up and run, at the pace of its ``grade``."""

    operation: str
    setup: float
    run: float
    grade: str = ""

    @property
    def standard(self) -> float:
        return self.setup + self.run


@dataclass(frozen=True, slots=True)
class Task:
    """A finished first-pass task: ``actual`` attended minutes by everybody, and those of each of its ``people``."""

    key: str
    bike: str
    actual: float
    pieces: tuple[Piece, ...]
    people: Mapping[str, float]

    @property
    def standard(self) -> float:
        return sum(piece.standard for piece in self.pieces)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A factor with its interval. ``tasks`` it rests on, ``worth`` of whole ones; ``happened`` is the bare ratio of the sums.

    ``spread`` is the CV of single tasks on one bike, whoever does them. ``wanting`` is how many more tasks a tenth either way would take.
    """

    factor: float
    low: float
    high: float
    tasks: int
    worth: float
    happened: float
    spread: float = 0.0
    wanting: int = 0


@dataclass(frozen=True, slots=True)
class Outlier:
    """A task that was left out, how many times as long it took as its like, and how far out that is (modified z-score)."""

    key: str
    times: float
    z: float
    operations: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Learned:
    """What tasks taught. ``operations`` by name, ``apart`` by name and `SETUP` or `RUN`; ``bikes`` is the CV of a bike's factor."""

    operations: Mapping[str, Estimate]
    apart: Mapping[tuple[str, str], Estimate]
    people: Mapping[str, Estimate]
    grades: Mapping[str, Estimate]
    bikes: float
    bike_count: int
    tasks: int
    outliers: tuple[Outlier, ...]
    variances: Variances


class _Table:
    """Tasks as the equations take them."""

    def __init__(self, tasks: Sequence[Task], split: frozenset[str]) -> None:
        self.tasks = tasks
        self.split = split
        self.effects = _numbered(name for task in tasks for piece in task.pieces for name, _s in _named(piece, split))
        self.people = _numbered(name for task in tasks for name in task.people)
        self.bikes = _numbered(task.bike for task in tasks if task.bike)
        self.ratio = np.array([log(task.actual / task.standard) for task in tasks])
        self.y, self.design = self.ratio, self._design()

    def fit(self, begin: Variances | None = None) -> Fit:
        """Variances and effects, with the shares of what is expected by them."""
        found = reml(sums(self.y, self.design), begin)
        for _again in range(AGAIN):
            self._lean_on(found)
            found = reml(sums(self.y, self.design), found.variances)
        return found

    def left(self, fit: Fit) -> Array:
        """What ``fit`` does not explain of each row."""
        return self.y - fitted(self.y, self.design, fit)

    def _lean_on(self, fit: Fit) -> None:
        """Take the shares of operations from the minutes that ``fit`` expects, and the rows from the tangent there."""
        of_work = self.work
        rows, columns = self.design.rows[of_work], self.design.columns[of_work]
        own = np.clip(fit.effects[columns + 1], -FARTHEST, FARTHEST)
        minutes = self.standard * np.exp(own)
        whole = np.bincount(rows, weights=minutes, minlength=len(self.y))
        shares = minutes / whole[rows]
        self.design.shares[of_work] = shares
        tangent = np.bincount(rows, weights=shares * own, minlength=len(self.y))
        self.y = self.ratio - np.log(whole) + tangent

    def _design(self) -> Design:
        rows: list[int] = []
        columns: list[int] = []
        shares: list[float] = []
        first = len(self.effects)
        for row, task in enumerate(self.tasks):
            standard = task.standard
            for piece in task.pieces:
                for name, minutes in _named(piece, self.split):
                    rows.append(row)
                    columns.append(self.effects[name])
                    shares.append(minutes / standard)
            clocked = sum(task.people.values())
            for person, minutes in task.people.items():
                rows.append(row)
                columns.append(first + self.people[person])
                shares.append(minutes / clocked)
        bike = np.array([self.bikes.get(task.bike, -1) for task in self.tasks], dtype=np.int64)
        numbers, weights = np.array(columns, dtype=np.int64), np.array(shares)
        self.work = np.flatnonzero(numbers < first)
        self.standard = weights[self.work]
        return Design(
            np.array(rows, dtype=np.int64),
            numbers,
            weights,
            (len(self.effects), len(self.people)),
            bike,
            len(self.bikes),
        )


def _named(piece: Piece, split: frozenset[str]) -> list[tuple[Effect, float]]:
    """The effects a piece stands for, with the standard minutes of each."""
    if piece.operation not in split:
        return [((piece.operation, ""), piece.standard)]
    both = [((piece.operation, SETUP), piece.setup), ((piece.operation, RUN), piece.run)]
    return [one for one in both if one[1] > 0]


def _numbered(names: Iterable[Name]) -> dict[Name, int]:
    return {name: number for number, name in enumerate(sorted(set(names)))}


def usable(task: Task) -> bool:
    """Whether a task says anything: it has standard minutes, and somebody was on it."""
    return task.standard > 0 and task.actual > 0 and sum(task.people.values()) > 0


def told_apart(tasks: Sequence[Task]) -> frozenset[str]:
    """Operations whose run was, against their set-up, at least `THREEFOLD` as much in some tasks as in others.

    Ends of a tenth on either side are left out, so that one strange task does not decide.
    """
    mixes: dict[str, list[float]] = {}
    for task in tasks:
        for piece in task.pieces:
            if piece.setup > 0 and piece.run > 0:
                mixes.setdefault(piece.operation, []).append(piece.run / piece.setup)
    found = set()
    for name, values in mixes.items():
        values.sort()
        cut = len(values) // 10
        if len(values) >= APART_FROM and values[-1 - cut] >= THREEFOLD * values[cut]:
            found.add(name)
    return frozenset(found)


def learn(tasks: Sequence[Task], *, level: float = 0.9) -> Learned:
    """What ``tasks`` teach; those that say nothing are passed over. Raises `ValueError` where fewer than two say something.

    Minutes of any unit will do, the same for standard and actual. ``level`` is that of all intervals.
    """
    known = sorted((task for task in tasks if usable(task)), key=lambda task: task.key)
    split = told_apart(known)
    table = _Table(known, split)
    fit = table.fit()
    outliers = _outliers(known, table.left(fit))
    if outliers:
        out = {one.key for one in outliers}
        table = _Table([task for task in known if task.key not in out], split)
        fit = table.fit(fit.variances)
    return _told(table, fit, table.left(fit), outliers, level)


def _outliers(tasks: Sequence[Task], left: Array) -> tuple[Outlier, ...]:
    middle = float(np.median(left))
    scale = float(np.median(np.abs(left - middle)))
    if not scale:
        return ()
    z = 0.6745 * (left - middle) / scale
    return tuple(
        Outlier(
            tasks[at].key, _times(float(left[at])), float(z[at]), tuple(sorted({p.operation for p in tasks[at].pieces}))
        )
        for at in np.flatnonzero(np.abs(z) > FAR_OUT).tolist()
    )


def _told(table: _Table, fit: Fit, left: Array, outliers: tuple[Outlier, ...], level: float) -> Learned:
    z = certainty(level)
    people = _people_weights(table)
    by_operation = _by_operation(table)
    operations, apart = {}, {}
    for name, rows in by_operation.items():
        spread = _spread(rows, left, fit.variances.error)
        spread += _people_variance(fit, table, people)  # nobody knows who will do it
        whole = fit.variances.bike + spread
        for part in (SETUP, RUN) if name in table.split else ("",):
            if (name, part) not in table.effects:
                continue
            weights = _weights(table, fit, people)
            weights[1 + table.effects[name, part]] = 1
            estimate = _estimate(fit, weights, 0.0, whole, spread, rows, z)
            if part:
                apart[name, part] = estimate
            else:
                operations[name] = estimate
        if name in table.split:
            operations[name] = _estimate(fit, *_mixed(table, fit, people, name, rows), whole, spread, rows, z)
    return Learned(
        operations=operations,
        apart=apart,
        people=_people(table, fit, z),
        grades=_grades(table, fit, people, z),
        bikes=sqrt(expm1(fit.variances.bike)),
        bike_count=len(table.bikes),
        tasks=len(table.tasks),
        outliers=outliers,
        variances=fit.variances,
    )


@dataclass(frozen=True, slots=True)
class _Rows:
    """The tasks an operation is in, with its share of each and its minutes."""

    rows: Array
    shares: Array
    setup: float
    run: float
    actual: float


def _by_operation(table: _Table) -> dict[str, _Rows]:
    found: dict[str, list[tuple[int, float, float, float, float]]] = {}
    for row, task in enumerate(table.tasks):
        standard = task.standard
        for piece in task.pieces:
            share = piece.standard / standard
            found.setdefault(piece.operation, []).append((row, share, piece.setup, piece.run, task.actual * share))
    made = {}
    for name, entries in sorted(found.items()):
        columns = np.array(entries, dtype=np.float64)
        setup, run, actual = (float(columns[:, at].sum()) for at in (2, 3, 4))
        made[name] = _Rows(columns[:, 0].astype(np.int64), columns[:, 1], setup, run, actual)
    return made


def _spread(rows: _Rows, left: Array, pooled: float) -> float:
    """How far tasks of an operation lie apart [log²]: its own, drawn to that of all by `POOLED` tasks."""
    squares = float((rows.shares**2 * left[rows.rows] ** 2).sum())
    return (squares + POOLED * pooled) / (float((rows.shares**2).sum()) + POOLED)


def _people_weights(table: _Table) -> Array:
    """Each person's share of all standard minutes: by minutes clocked the slow would count for more than they do."""
    minutes: Array = np.zeros(len(table.people))
    for task in table.tasks:
        clocked = sum(task.people.values())
        for name, own in task.people.items():
            minutes[table.people[name]] += task.standard * own / clocked
    minutes /= minutes.sum()
    return minutes


def _people_variance(fit: Fit, table: _Table, weights: Array) -> float:
    """How far those who do the work lie apart, by how much of it they do [log²]."""
    own = fit.effects[1 + len(table.effects) :]
    mean = float(weights @ own)
    return float(weights @ (own - mean) ** 2)


def _weights(table: _Table, fit: Fit, people: Array) -> Array:
    """The mean, with the people who do the work."""
    weights = np.zeros(len(fit.effects))
    weights[0] = 1
    weights[1 + len(table.effects) :] = people
    return weights


def _mixed(table: _Table, fit: Fit, people: Array, name: str, rows: _Rows) -> tuple[Array, float]:
    """An operation whose set-up and run are told apart, as it was mixed on the whole: the tangent, and what it lies off by."""
    weights = _weights(table, fit, people)
    own = {part: 1 + table.effects[name, part] for part in (SETUP, RUN) if (name, part) in table.effects}
    shares = {part: minutes / (rows.setup + rows.run) for part, minutes in ((SETUP, rows.setup), (RUN, rows.run))}
    expected = {part: shares[part] * _times(fit.effects[at]) for part, at in own.items()}
    whole = sum(expected.values())
    for part, at in own.items():
        weights[at] = expected[part] / whole
    return weights, log(whole) - sum(float(weights[at] * fit.effects[at]) for at in own.values())


def _times(log_factor: float) -> float:
    """The factor of an effect; one so far off that floats could not hold it says only that nothing is known."""
    return exp(min(max(log_factor, -HELD), HELD))


def _estimate(fit: Fit, weights: Array, off: float, whole: float, spread: float, rows: _Rows, z: float) -> Estimate:
    value, variance = fit.value(weights)
    value += off
    deviation = sqrt(max(variance, 0.0))
    cv = sqrt(expm1(min(spread, HELD)))
    worth = float(rows.shares.sum())
    standard = rows.setup + rows.run
    wanted = needed(mean=1.0, deviation=cv, accuracy=ACCURACY, z=z)
    return Estimate(
        factor=_times(value + (whole + variance) / 2),
        low=_times(value + whole / 2 - z * deviation),
        high=_times(value + whole / 2 + z * deviation),
        tasks=len(set(rows.rows.tolist())),
        worth=worth,
        happened=rows.actual / standard,
        spread=cv,
        wanting=max(0, int(np.ceil(wanted - worth))),
    )


def _people(table: _Table, fit: Fit, z: float) -> dict[str, Estimate]:
    """How fast people are against all together, for nobody's eyes but those who ask how a grade's pace comes about."""
    found = {}
    for name, at in table.people.items():
        mine = [task for task in table.tasks if name in task.people]
        weights = np.zeros(len(fit.effects))
        weights[1 + len(table.effects) + at] = 1
        found[name] = _pace(fit, weights, mine, sum(task.people[name] for task in mine), z)
    return found


def _grades(table: _Table, fit: Fit, people: Array, z: float) -> dict[str, Estimate]:
    """How fast those are who do the work of a grade, against all who work here."""
    minutes: dict[str, Array] = {}
    tasks: dict[str, list[Task]] = {}
    for task in table.tasks:
        for grade in sorted({piece.grade for piece in task.pieces}):
            standard = sum(piece.standard for piece in task.pieces if piece.grade == grade)
            own = minutes.setdefault(grade, np.zeros(len(table.people)))
            clocked = sum(task.people.values())
            for name, each in task.people.items():
                own[table.people[name]] += standard * each / clocked
            tasks.setdefault(grade, []).append(task)
    found = {}
    for grade, own in sorted(minutes.items()):
        weights = np.zeros(len(fit.effects))
        weights[1 + len(table.effects) :] = own / own.sum() - people
        found[grade] = _pace(fit, weights, tasks[grade], float(own.sum()), z)
    return found


def _pace(fit: Fit, weights: Array, tasks: Sequence[Task], minutes: float, z: float) -> Estimate:
    value, variance = fit.value(weights)
    deviation = sqrt(max(variance, 0.0))
    standard = sum(task.standard for task in tasks)
    return Estimate(
        factor=_times(value),
        low=_times(value - z * deviation),
        high=_times(value + z * deviation),
        tasks=len(tasks),
        worth=minutes,
        happened=sum(task.actual for task in tasks) / standard,
    )


def spread_of(variance: float) -> float:
    """The CV of a lognormal factor from the variance of its logarithm.

    >>> round(spread_of(log_variance(0.15)), 12)
    0.15
    """
    return sqrt(expm1(variance))


def log_variance(spread: float) -> float:
    """The variance of the logarithm of a lognormal factor from its CV."""
    return log1p(spread * spread)
