"""What moves a quote most: each uncertain input swung over its range, everything else as it is.

An input is swung to both ends, and the whole restoration is priced and planned anew each time; nothing is taken to be
linear. Which inputs are worth the two runs is guessed beforehand from what they touch: the largest first.

- pace of the bike: the minutes of everything, by the policy's spread
- a labour operation: its standard time, by its spread, on all its steps
- a price: of a vendor's service, a bought-in part, a consumable, by the spread of how sure it is
- a possible damage that is ours: not there, or there at its most
- a finish that is not proven: right, or wrong
- work that can fail: never, or twice as often
- a lead time, by its spread
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum

from quotes.engine.chance.quoting import quote
from quotes.engine.errors import BadInput
from quotes.engine.inputs import (
    NONE_OF_THESE,
    ONE,
    ZERO,
    Break,
    Damage,
    Evidence,
    Part,
    Purchase,
    Restoration,
    Service,
    Treatment,
)
from quotes.engine.plan import plan
from quotes.engine.results import Explained, StepResult

#: What is taken for certain: a millionth of a thousandth away from it, so that it stays a chance.
SURE = ONE - Decimal("1e-9")
#: Evidence that leaves hardly a doubt.
OVERWHELMING = Decimal(1_000_000)
#: No work fails so often that it is never done.
MOST_FAILURES = Decimal("0.9")

Turn = Callable[[Restoration], Restoration]


class SwingKind(StrEnum):
    """What sort of input is swung."""

    PACE = "pace"
    TIME = "time"
    PRICE = "price"
    DAMAGE = "damage"
    FINISH = "finish"
    FAILURE = "failure"
    LEAD = "lead"


@dataclass(frozen=True, slots=True)
class Reading:
    """What a quote came to: expected cost and net price [money], contingency [money], and the certain ready day, if planned."""

    cost: Decimal
    price: Decimal
    contingency: Decimal
    day: str = ""


@dataclass(frozen=True, slots=True)
class Swing:
    """An input with the quote at both ends of its range; ``part`` where it is a part's."""

    kind: SwingKind
    key: str
    name: str
    part: str
    low: Reading
    high: Reading


@dataclass(frozen=True, slots=True)
class Swings:
    """The quote as it is, and the inputs that were swung, in no order: see `longest`."""

    base: Reading
    bars: tuple[Swing, ...]


@dataclass(frozen=True, slots=True)
class _Candidate:
    kind: SwingKind
    key: str
    name: str
    low: Turn
    high: Turn
    guess: Decimal
    part: str = ""


def read(restoration: Restoration) -> Reading:
    """Price, and plan where there is a schedule. Raises `BadInput`."""
    quoted = quote(restoration)
    explained, result = quoted.explained, quoted.explained.result
    day = plan(quoted.given, explained.steps, explained.batches).ready if restoration.schedule else ""
    return Reading(result.cost, result.net, result.contingency, day)


def swings(
    restoration: Restoration,
    explained: Explained,
    *,
    costs: int = 8,
    leads: int = 4,
    tell: Callable[[int, int], None] | None = None,
) -> Swings:
    """The ``costs`` inputs that are guessed to move cost and price most, and as many ``leads`` that move the day.

    ``tell`` is told how many of the runs are done, and of how many. An end of a range that cannot be priced or planned
    is left out with its input.
    """
    chosen = [*_first(_of_cost(restoration, explained), costs), *_first(_of_days(restoration, explained), leads)]
    base, bars = read(restoration), []
    for done, item in enumerate(chosen, start=1):
        try:
            low, high = read(item.low(restoration)), read(item.high(restoration))
        except BadInput:
            continue
        bars.append(Swing(item.kind, item.key, item.name, item.part, low, high))
        if tell:
            tell(done, len(chosen))
    return Swings(base, tuple(bars))


def longest(found: Swings, of: Callable[[Reading], Decimal], *, most: int) -> tuple[Swing, ...]:
    """The ``most`` inputs that move a figure, those that move it furthest first; ties by key."""
    reach = {bar.key: abs(of(bar.high) - of(bar.low)) for bar in found.bars}
    ordered = sorted(found.bars, key=lambda bar: (-reach[bar.key], bar.key))
    return tuple(bar for bar in ordered if reach[bar.key])[:most]


def _first(candidates: Iterable[_Candidate], most: int) -> list[_Candidate]:
    ranked = sorted(candidates, key=lambda item: (-item.guess, item.key))
    return [item for item in ranked if item.guess][:most]


def _of_cost(restoration: Restoration, explained: Explained) -> Iterator[_Candidate]:
    labour, vendor, bought = _touched(restoration, explained.steps)
    spread = restoration.policy.pace_spread
    yield _Candidate(
        SwingKind.PACE, "pace", "", _paced(ONE - spread), _paced(ONE + spread), 2 * spread * sum(labour.values(), ZERO)
    )
    for operation in restoration.operations:
        low, high = _timed(operation.key, ONE - operation.spread), _timed(operation.key, ONE + operation.spread)
        guess = 2 * operation.spread * labour.get(operation.key, ZERO)
        yield _Candidate(SwingKind.TIME, f"time {operation.key}", operation.name, low, high, guess)
    yield from _of_prices(restoration, explained, vendor, bought)
    for part in restoration.parts:
        yield from _of_part(part, explained)
    yield from _of_failures(restoration, explained.steps)


def _touched(
    restoration: Restoration, steps: Sequence[StepResult]
) -> tuple[dict[str, Decimal], dict[str, Decimal], dict[str, Decimal]]:
    """Reference of the work to the labour, vendor and bought-in cost of its steps, redo visits included [money]."""
    refs = {step.uid: step.ref for part in restoration.parts for step in part.steps}
    found: tuple[dict[str, Decimal], ...] = ({}, {}, {})
    for step in steps:
        both = step.first.plus(step.allowance)
        amounts = (both.labour + both.overhead, both.vendor, both.bought_in)
        for sums, amount in zip(found, amounts, strict=True):
            ref = refs[step.uid]
            sums[ref] = sums.get(ref, ZERO) + amount
    return found[0], found[1], found[2]


def _of_prices(
    restoration: Restoration, explained: Explained, vendor: Mapping[str, Decimal], bought: Mapping[str, Decimal]
) -> Iterator[_Candidate]:
    spreads = dict(restoration.policy.status_spreads)
    things = [(item, vendor.get(item.key, ZERO)) for item in restoration.services]
    things += [(item, bought.get(item.key, ZERO)) for item in restoration.purchases]  # type: ignore[misc]
    material = sum((line.material for line in explained.result.lines), ZERO)
    things += [(item, material / len(restoration.consumables)) for item in restoration.consumables]  # type: ignore[misc]
    for item, cost in things:
        spread = spreads.get(item.status, ZERO)
        low, high = _dearer(item.key, ONE - spread), _dearer(item.key, ONE + spread)
        yield _Candidate(SwingKind.PRICE, f"price {item.key}", item.name, low, high, 2 * spread * cost)


def _of_part(part: Part, explained: Explained) -> Iterator[_Candidate]:
    for item in part.damages:
        if item.treatment is Treatment.OURS:
            gone, there = _without(part.uid, item), _found(part.uid, item)
            yield _Candidate(SwingKind.DAMAGE, f"damage {item.uid}", item.name, gone, there, item.high, part.name)
    losses = explained.losses.get(part.uid)
    if part.question is not None and losses:
        worst = max(losses.values())
        right, wrong = _right(part.uid), _wrong(part)
        yield _Candidate(SwingKind.FINISH, f"finish {part.uid}", part.name, right, wrong, worst, part.name)


def _of_failures(restoration: Restoration, steps: Sequence[StepResult]) -> Iterator[_Candidate]:
    names = {step.ref: step.name for part in restoration.parts for step in part.steps if step.ways_back}
    refs = {step.uid: step.ref for part in restoration.parts for step in part.steps}
    again: dict[str, Decimal] = {}
    for step in steps:
        again[refs[step.uid]] = again.get(refs[step.uid], ZERO) + step.allowance.cost
    for ref, name in names.items():
        low, high = _failing(ref, ZERO), _failing(ref, Decimal(2))
        yield _Candidate(SwingKind.FAILURE, f"failure {ref}", name, low, high, 2 * again.get(ref, ZERO))


def _of_days(restoration: Restoration, explained: Explained) -> Iterator[_Candidate]:
    """Lead times that stand on the chain which decides the ready day."""
    if restoration.schedule is None:
        return
    planned = plan(restoration, explained.steps, explained.batches)
    heads = set(planned.chain)
    driving = {step.ref for part in restoration.parts for step in part.steps if step.uid in heads}
    outside: tuple[Service | Purchase, ...] = (*restoration.services, *restoration.purchases)
    for item in outside:
        if item.key in driving:
            low, high = _later(item.key, ONE - item.late_spread), _later(item.key, ONE + item.late_spread)
            guess = 2 * item.late_spread * item.lead_days
            yield _Candidate(SwingKind.LEAD, f"lead {item.key}", item.name, low, high, guess)


def _paced(factor: Decimal) -> Turn:
    return lambda r: replace(r, grades=tuple(replace(item, pace=item.pace * factor) for item in r.grades))


def _timed(key: str, factor: Decimal) -> Turn:
    def turn(r: Restoration) -> Restoration:
        turned = (replace(o, shop_factor=o.shop_factor * factor) if o.key == key else o for o in r.operations)
        return replace(r, operations=tuple(turned))

    return turn


def _dearer(key: str, factor: Decimal) -> Turn:
    def turn(r: Restoration) -> Restoration:
        services = []
        for item in r.services:
            if item.key == key:
                breaks = tuple(Break(b.quantity, b.rate * factor) for b in item.breaks)
                charges = {name: getattr(item, name) * factor for name in ("lot_charge", "minimum", "trip")}
                item = replace(item, breaks=breaks, **charges)
            services.append(item)
        purchases = (replace(i, unit_price=i.unit_price * factor) if i.key == key else i for i in r.purchases)
        stock = (replace(i, pack_price=i.pack_price * factor) if i.key == key else i for i in r.consumables)
        return replace(r, services=tuple(services), purchases=tuple(purchases), consumables=tuple(stock))

    return turn


def _later(key: str, factor: Decimal) -> Turn:
    def days(given: int) -> int:
        return max(0, int((given * factor).to_integral_value(ROUND_CEILING)))

    def turn(r: Restoration) -> Restoration:
        services = (replace(i, lead_days=days(i.lead_days)) if i.key == key else i for i in r.services)
        purchases = (replace(i, lead_days=days(i.lead_days)) if i.key == key else i for i in r.purchases)
        return replace(r, services=tuple(services), purchases=tuple(purchases))

    return turn


def _part(uid: str, change: Callable[[Part], Part]) -> Turn:
    return lambda r: replace(r, parts=tuple(change(item) if item.uid == uid else item for item in r.parts))


def _without(uid: str, gone: Damage) -> Turn:
    return _part(uid, lambda part: replace(part, damages=tuple(item for item in part.damages if item != gone)))


def _found(uid: str, there: Damage) -> Turn:
    found = replace(there, chance=SURE, low=there.high, likely=there.high)
    return _part(uid, lambda part: replace(part, damages=tuple(found if i == there else i for i in part.damages)))


def _right(uid: str) -> Turn:
    return _part(uid, lambda part: replace(part, question=None))


def _wrong(part: Part) -> Turn:
    """Hardly a doubt that another finish was right: the next likeliest that is listed, else none of those."""
    assert part.question is not None
    question = part.question
    others = [item.key for item in question.candidates if item.key != question.chosen]
    witness = Evidence("swing", "swing", "swing", others[0] if others else NONE_OF_THESE, OVERWHELMING)
    wrong = replace(question, evidence=(witness,))
    return _part(part.uid, lambda item: replace(item, question=wrong))


def _failing(ref: str, factor: Decimal) -> Turn:
    """Work fails ``factor`` times as often, as far as it is ever done."""

    def turn(r: Restoration) -> Restoration:
        parts = []
        for part in r.parts:
            steps = []
            for step in part.steps:
                if step.ref == ref and step.ways_back:
                    together = sum((way.chance for way in step.ways_back), ZERO)
                    most = MOST_FAILURES / together if together else factor
                    times = min(factor, max(ONE, most))
                    ways = tuple(replace(way, chance=way.chance * times) for way in step.ways_back)
                    step = replace(step, ways_back=ways)
                steps.append(step)
            parts.append(replace(part, steps=tuple(steps)))
        return replace(r, parts=tuple(parts))

    return turn


def days_between(one: str, other: str) -> Decimal:
    """Calendar days from one ISO day to another."""
    return Decimal((date.fromisoformat(other) - date.fromisoformat(one)).days)
