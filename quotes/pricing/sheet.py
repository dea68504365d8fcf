"""The cost sheet: what a price is made of, part by part, down to every figure. For the shop's eyes only.

A pure function of what the engine explained, so that a draft and an issued quote show the same sheet. Costs are not
rounded anywhere; here they are shown in minor units so that rows and columns add up, by largest remainder. The figures
behind them are shown as they are.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from django.utils.translation import gettext as _

from quotes.engine import inputs
from quotes.engine.figures import Figure
from quotes.engine.formulas import REGISTRY
from quotes.engine.money import CONTEXT, from_minor, places, rounded, shared_out
from quotes.engine.results import CREDIT, Explained, Line, Result, StepResult, Unseen
from quotes.engine.totals import CLASSES

#: So many figures go onto a page unasked; of a bigger sheet one part is opened at a time.
MOST_AT_ONCE = 2000
NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Row:
    """A figure in the list of those behind a step: ``depth`` says whose input it is, ``again`` that it stands above."""

    depth: int
    name: str
    value: Decimal
    unit: str
    formula: str
    source: str
    again: bool


@dataclass(frozen=True, slots=True)
class SheetStep:
    """A step with its share of the part's cost [money], its rework allowance with it."""

    uid: str
    name: str
    minutes: Decimal
    cost: Decimal
    redone: Decimal
    figure: Figure

    def rows(self) -> list[Row]:
        """The figures behind its cost, top down."""
        return rows(self.figure)


@dataclass(frozen=True, slots=True)
class SheetPart:
    """A line: ``costs`` by class [money]; ``allowance`` for rework, ``unseen`` for what nobody can see yet and what is kept
    for ``comebacks`` are inside.

    ``contingency`` is beside the costs. Among the ``steps`` stand possible damage, a wrong finish and comebacks, where they
    cost.
    """

    uid: str
    name: str
    pieces: int
    minutes: Decimal
    costs: tuple[Decimal, ...]
    allowance: Decimal
    unseen: Decimal
    comebacks: Decimal
    contingency: Decimal
    cost: Decimal
    price: Decimal
    discount: Decimal
    net: Decimal
    margin: Decimal | None
    steps: tuple[SheetStep, ...]
    figure: Figure

    def rows(self) -> list[Row]:
        """The figures behind its price, top down."""
        return rows(self.figure)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole sheet. ``floor_price`` is the least net price that keeps the floor [money].

    ``price`` is that of the parts; ``credited`` is what comes off after the discount. It was paid before, or is given
    back for work that is left out, so what is ``left`` and the margin are reckoned without it.
    """

    currency: str
    parts: tuple[SheetPart, ...]
    minutes: Decimal
    costs: tuple[Decimal, ...]
    allowance: Decimal
    unseen: Decimal
    comebacks: Decimal
    contingency: Decimal
    cost: Decimal
    price: Decimal
    discount: Decimal
    credited: Decimal
    net: Decimal
    left: Decimal
    margin: Decimal | None
    floor: Decimal
    floor_price: Decimal
    below_floor: bool
    all_at_once: bool


def sheet(explained: Explained, given: inputs.Restoration) -> Sheet:
    """The cost sheet of a priced restoration."""
    result, currency = explained.result, given.policy.currency
    with localcontext(CONTEXT):
        parts = _parts(explained, given, places(currency))
        cost = sum((part.cost for part in parts), NONE)
        return Sheet(
            currency=currency,
            parts=parts,
            minutes=result.minutes,
            costs=tuple(sum((part.costs[i] for part in parts), NONE) for i in range(len(CLASSES))),
            allowance=sum((part.allowance for part in parts), NONE),
            unseen=sum((part.unseen for part in parts), NONE),
            comebacks=sum((part.comebacks for part in parts), NONE),
            contingency=sum((part.contingency for part in parts), NONE),
            cost=cost,
            price=result.price + result.credited,
            discount=result.discount,
            credited=result.credited,
            net=result.net,
            left=result.net + result.credited - cost,
            margin=result.margin,
            floor=given.policy.floor,
            floor_price=_least(result, places(currency)),
            below_floor=result.below_floor,
            all_at_once=_few(explained),
        )


def _parts(explained: Explained, given: inputs.Restoration, digits: int) -> tuple[SheetPart, ...]:
    result = explained.result
    steps: dict[str, list[StepResult]] = {part.uid: [] for part in given.parts}
    for step in explained.steps:
        steps[step.part].append(step)
    names = {step.uid: step.name for part in given.parts for step in part.steps}
    pieces = {part.uid: part.pieces for part in given.parts}
    lines = [line for line in result.lines if line.basis != CREDIT]
    uids = [line.uid for line in lines]
    costs = _shown(result.cost, [line.cost for line in lines], uids, digits)
    allowances = _shown(result.allowance, [line.allowance for line in lines], uids, digits)
    unseen = _shown(result.damage + result.finish, [line.damage + line.finish for line in lines], uids, digits)
    comebacks = _shown(result.comebacks, [line.comebacks for line in lines], uids, digits)
    contingencies = _shown(result.contingency, [line.contingency for line in lines], uids, digits)
    columns = zip(lines, costs, allowances, unseen, comebacks, contingencies, strict=True)
    return tuple(
        SheetPart(
            uid=line.uid,
            name=line.part,
            pieces=pieces[line.uid],
            minutes=line.minutes,
            costs=tuple(shared_out(cost, [getattr(line, name) for name in CLASSES], CLASSES, digits=digits)),
            allowance=allowance,
            unseen=hidden,
            comebacks=kept,
            contingency=contingency,
            cost=cost,
            price=line.price,
            discount=line.discount,
            net=line.net,
            margin=_margin(line),
            steps=_steps(steps[line.uid], list(_beside(explained, line)), cost, names, digits),
            figure=explained.figures[line.uid],
        )
        for line, cost, allowance, hidden, kept, contingency in columns
    )


def _steps(
    steps: Sequence[StepResult],
    beside: Sequence[tuple[str, Decimal, Figure]],
    cost: Decimal,
    names: Mapping[str, str],
    digits: int,
) -> tuple[SheetStep, ...]:
    """The steps, and after them what no step costs; together they come to ``cost``."""
    weights = [step.first.cost + step.allowance.cost for step in steps] + [amount for _name, amount, _figure in beside]
    shares = shared_out(cost, weights, range(len(weights)), digits=digits)
    done = _done(steps, shares, names)
    return done + tuple(
        SheetStep(uid=name, name=name, minutes=NONE, cost=share, redone=NONE, figure=figure)
        for (name, _amount, figure), share in zip(beside, shares[len(steps) :], strict=True)
    )


def _beside(explained: Explained, line: Line) -> Iterator[tuple[str, Decimal, Figure]]:
    """What a line costs beside its steps: in words, how much, and the figure."""
    unseen = explained.unseen.get(line.uid, Unseen())
    if unseen.damages is not None and unseen.damage.cost:
        yield _("Possible damage"), unseen.damage.cost, unseen.damages
    if unseen.finishes is not None and unseen.finish.cost:
        yield _("A wrong finish"), unseen.finish.cost, unseen.finishes
    kept = explained.figures.get(f"{line.uid} comebacks")
    if kept is not None:
        yield _("Kept for comebacks"), line.comebacks, kept


def _done(steps: Sequence[StepResult], shares: Sequence[Decimal], names: Mapping[str, str]) -> tuple[SheetStep, ...]:
    return tuple(
        SheetStep(
            uid=step.uid,
            name=names[step.uid],
            minutes=step.first.minutes + step.allowance.minutes,
            cost=share,
            redone=step.redone,
            figure=step.figure,
        )
        for step, share in zip(steps, shares, strict=False)
    )


def _shown(whole: Decimal, amounts: Sequence[Decimal], keys: Sequence[str], digits: int) -> list[Decimal]:
    return shared_out(rounded(whole, digits=digits), amounts, keys, digits=digits)


def _margin(line: Line) -> Decimal | None:
    return (line.net - line.cost) / line.net if line.net else None


def _least(result: Result, digits: int) -> Decimal:
    """The floor in whole minor units, never below it: a net price shown equal to it is not under it."""
    nearest = rounded(result.floor_price, digits=digits)
    return nearest if nearest >= result.floor_price else nearest + from_minor(1, digits=digits)


def rows(figure: Figure) -> list[Row]:
    """A figure and those it was made from, as far as they do not stand above already."""
    return list(_rows(figure, 0, set()))


def _rows(figure: Figure, depth: int, seen: set[int]) -> Iterator[Row]:
    again = bool(figure.inputs) and id(figure) in seen
    formula = REGISTRY[figure.formula].text if figure.formula else ""
    yield Row(depth, figure.name, figure.value, figure.unit, formula, figure.source, again)
    if not again:
        seen.add(id(figure))
        for given in figure.inputs:
            yield from _rows(given, depth + 1, seen)


def _few(explained: Explained) -> bool:
    """Whether all figures together are few enough for one page."""
    left = MOST_AT_ONCE
    for figure in explained.figures.values():
        for _row in _rows(figure, 0, set()):
            left -= 1
            if not left:
                return False
    return True
