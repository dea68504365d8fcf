"""What it costs to do work in two goes that one go would share: why a variation is not the rise of the whole bike's price.

The whole is priced once together and once apart: what is new by itself, and the rest without it. Every figure of a price is
linear in what the steps cost, so the difference can be told step by step, each cost at what it sells for: the set-ups, mixes, lots
and trips that are shared no longer, and after them what is expected to be done again, what nobody can see, the contingency, and what
is kept of all that for later.

| a plater charges at least 50; alone 30, with what was agreed before 60 | together |  apart |
| new                                                                      |    20    |    50  |
| agreed before                                                            |    40    |    50  |
| dearer apart: 40, its lots                                               |    60    |   100  |
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from enum import StrEnum

from quotes.engine.formulas import PRESENT, Formula, resolve
from quotes.engine.inputs import Policy, PriceBy, Restoration, Work
from quotes.engine.money import CONTEXT
from quotes.engine.results import CREDIT, NOTHING, Explained, StepResult, Unseen, Visit, together
from quotes.engine.totals import CLASSES

NONE = Decimal(0)
MINUS_ONE = Decimal(-1)
#: The figure of what a lot costs; its inputs are the charge, the trip and the handling rate, in this order.
LOT = "charge with trip and handling rate"
#: What a quotient leaves in its last figures is nothing that is kept.
DIGITS = 12


class Cause(StrEnum):
    """What makes two goes dearer than one."""

    SET_UP = "set_up"
    MIX = "mix"
    LOT = "lot"
    TRIP = "trip"
    REWORK = "rework"
    UNSEEN = "unseen"
    CONTINGENCY = "contingency"
    KEPT = "kept"


@dataclass(frozen=True, slots=True)
class Dearer:
    """How much dearer two goes are for one cause [money, as sold, before discount and not rounded], and the work behind it."""

    cause: Cause
    amount: Decimal
    names: tuple[str, ...] = ()


def dearer(together_as: tuple[Restoration, Explained], apart: Sequence[Explained]) -> tuple[Dearer, ...]:
    """Cause by cause, what the steps of ``apart`` sell for less what they sell for in the whole; causes of nothing left out."""
    given, whole = together_as
    with localcontext(CONTEXT):
        found: dict[Cause, Decimal] = {}
        names: dict[Cause, dict[str, None]] = {}
        for cause, name, amount in _every(given, whole, apart):
            found[cause] = found.get(cause, NONE) + amount
            if amount and name:
                names.setdefault(cause, {})[name] = None
        all_of_it = sum(map(_prices, apart), NONE) - _prices(whole)
        found[Cause.KEPT] = round(all_of_it - sum(found.values(), NONE), DIGITS)
        return tuple(Dearer(cause, found[cause], tuple(names.get(cause, ()))) for cause in Cause if found.get(cause))


def _every(given: Restoration, whole: Explained, apart: Sequence[Explained]) -> Iterator[tuple[Cause, str, Decimal]]:
    price, policy = resolve(PRESENT)["price"], given.policy
    by_itself = {step.uid: step for explained in apart for step in explained.steps}
    steps = {step.uid: step for part in given.parts for step in part.steps}
    for step in whole.steps:
        alone = by_itself.get(step.uid)
        if alone is not None:
            own = steps[step.uid]
            for cause, visit in _of_step(own.work, alone, step):
                yield cause, own.name, _sold(price, policy, visit)
    unseen = _less(_unseen(apart), _unseen((whole,)))
    yield Cause.UNSEEN, "", _sold(price, policy, unseen)
    margin = resolve(PRESENT)["contingency_margin"].compute(policy)
    swing = sum((_contingency(explained) for explained in apart), NONE) - _contingency(whole)
    yield Cause.CONTINGENCY, "", price.compute(swing, margin)


def _of_step(work: Work, alone: StepResult, whole: StepResult) -> Iterator[tuple[Cause, Visit]]:
    first = _less(alone.first, whole.first)
    if work is Work.OPERATION:
        yield Cause.MIX, Visit(material=first.material)
        yield Cause.SET_UP, first._replace(material=NONE)
    else:
        trip = _trip(alone) - _trip(whole)
        yield Cause.LOT, Visit(vendor=first.vendor - trip, bought_in=first.bought_in)
        yield Cause.TRIP, first._replace(vendor=trip, bought_in=NONE)
    yield Cause.REWORK, _less(alone.allowance, whole.allowance)


def _trip(step: StepResult) -> Decimal:
    """The share of a trip in the first pass of a step [money]: as large a share as it has of the lot."""
    lot = next((figure for _depth, figure in step.figure.walk() if figure.name == LOT), None)
    if lot is None or not lot.value:
        return NONE
    return step.first.vendor * lot.inputs[1].value / lot.value


def _less(one: Visit, other: Visit) -> Visit:
    return one.plus(other.times(MINUS_ONE))


def _unseen(priced: Iterable[Explained]) -> Visit:
    """What nobody can see yet, of every part."""
    items: list[Unseen] = [item for explained in priced for item in explained.unseen.values()]
    return together([visit for item in items for visit in (item.damage, item.finish)]) if items else NOTHING


def _contingency(explained: Explained) -> Decimal:
    return sum((line.contingency for line in explained.result.lines if line.basis != CREDIT), NONE)


def _prices(explained: Explained) -> Decimal:
    """All lines before they are rounded [money], without what is credited."""
    lines = (explained.figures[line.uid] for line in explained.result.lines if line.basis != CREDIT)
    return sum((price.value for line in lines for price in line.inputs), NONE)


def _sold(price: Formula, policy: Policy, visit: Visit) -> Decimal:
    """What a visit sells for [money], as its cost classes do in a line."""
    by_rate = policy.price_by is PriceBy.CHARGE_OUT
    sold: Mapping[str, Decimal] = {"labour": visit.sold, "overhead": NONE} if by_rate else {}
    return sum(
        (
            sold[name] if name in sold else price.compute(getattr(visit, name), getattr(policy, f"{name}_margin"))
            for name in CLASSES
        ),
        NONE,
    )
