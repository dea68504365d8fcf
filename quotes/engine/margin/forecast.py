"""What a job will have cost when it is done, why that is not its budget, and what the job will still leave.

Each step is looked at as it is expected to close, and the closing identity says why that is not its budget. So the estimate
at completion (EAC) is the budget plus the expected terms, exactly, and the forecast speaks the words of the variances.

- **Done** steps cost what they cost; a redo that is going on adds the hours said to be left.
- **Labour** of an open step: what is clocked, plus what is left. Hours that the mechanic says are left stand over the
  reckoning. Else the budget times the performance of the job, pulled to 1 while little is done, less what is clocked; where
  nothing would be left of a step that is not done, somebody must be asked. What is left is paid at the standard rate.
- **Overhead** goes with the hours, at the rate quoted.
- **Vendors and bought-in parts** of an open step: what is agreed where it is on order, else as quoted.
- **Consumables** of an open step: the standard quantity, or what is used where that is more.
- **Rework** of an open step: its allowance, or what it took where that is more.
- **Reserves** that are not settled: what was kept, or what they took where that is more.

Money the job will still leave = price − EAC. The price is the final account by what is known: fixed + min(actual, cap) +
hourly + provisional + variations, before tax; credits for what was paid before are added back, since that money came in.

| step of 10 h, 60.00/h with overhead, 4 h clocked | done | left by          | left | cost at completion |
| nobody said anything, performance 1.20           |  4 h | performance      |  8 h |             720.00 |
| the mechanic says: 3 h left                      |  4 h | mechanic         |  3 h |             420.00 |
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from quotes.engine.inputs import ONE
from quotes.engine.margin.budgets import CLASSES, JobBudget, Reserve, StepBudget, unbudgeted
from quotes.engine.margin.exact import added, by_the_hour, exactly, less, ratio
from quotes.engine.margin.performance import Performance, half_weight, performance
from quotes.engine.margin.spending import Outlay, Spent, Used
from quotes.engine.margin.variances import Terms, of_job
from quotes.engine.money import CONTEXT, shared_out
from quotes.engine.results import CREDIT, NONE
from quotes.engine.settlement import Agreed, counts


class Stands(StrEnum):
    """Which figure stands for the hours left on a step."""

    DONE = "done"
    MECHANIC = "mechanic"
    PERFORMANCE = "performance"
    NONE_PLANNED = "none planned"


class Known(NamedTuple):
    """What is known beside what was spent on the step ``uid``.

    ``left`` [min]: what the mechanic says is left, less what was clocked since; None where nobody said. ``charge`` [money]: the
    vendor's charge agreed for what is on order, without handling; ``bought_in`` [money]: the price agreed for parts on order.
    For a step that is done they speak of doing it again.
    """

    uid: str
    left: Decimal | None = None
    charge: Decimal | None = None
    bought_in: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Expected:
    """A step as it is expected to close: what it will have taken, minutes left [min], what stands for them."""

    spent: Spent
    left: Decimal
    stands: Stands
    ask: bool = False


@dataclass(frozen=True, slots=True)
class ClassEstimate:
    """One cost class of a job [money]: budget, spent, on order, still to come, and at completion."""

    budget: Decimal
    spent: Decimal
    ordered: Decimal
    to_come: Decimal

    @property
    def at_completion(self) -> Decimal:
        """Spent + on order + to come [money]."""
        return added((self.spent, self.ordered, self.to_come))


@dataclass(frozen=True, slots=True)
class Forecast:
    """How a job is expected to close.

    ``terms`` say why ``at_completion`` (EAC) is not ``budget`` (BAC): they add up to the difference exactly. ``left`` [min] is
    against ``left_budgeted`` [min]: what the budget of each step not done still has, nothing where it is used up. ``ask`` names
    the steps that have used up their hours and are not done.
    """

    budget: Decimal
    spent: Decimal
    at_completion: Decimal
    terms: Terms
    by_uid: Mapping[str, Terms]
    classes: Mapping[str, ClassEstimate]
    performance: Performance
    steps: Mapping[str, Expected]
    left: Decimal
    left_budgeted: Decimal

    @property
    def to_complete(self) -> Decimal:
        """What is still to be spent (ETC) [money]."""
        return less(self.at_completion, self.spent)

    @property
    def ordered(self) -> Decimal:
        """What is on order and not received [money]."""
        return added(item.ordered for item in self.classes.values())

    def exposure(self, received: Decimal) -> Decimal:
        """Cost so far + on order − ``received`` [money before tax]: what is out for this job and not paid."""
        return less(added((self.spent, self.ordered)), received)

    @property
    def ask(self) -> tuple[str, ...]:
        """Steps nobody can say the hours of: ask the mechanic."""
        return tuple(uid for uid, step in self.steps.items() if step.ask)


@dataclass(frozen=True, slots=True)
class Price:
    """What a job brings in by what is known now [money before tax]; ``credited`` was paid before and is not taken off."""

    fixed: Decimal
    capped: Decimal
    hourly: Decimal
    provisional: Decimal
    variations: Decimal
    storage: Decimal = NONE
    credited: Decimal = NONE

    @property
    def total(self) -> Decimal:
        """All of it, with credits added back [money before tax]."""
        return added((self.fixed, self.capped, self.hourly, self.provisional, self.variations, self.storage))


@dataclass(frozen=True, slots=True)
class Leaves:
    """Money a job will still leave: its price less its estimate at completion."""

    price: Price
    forecast: Forecast

    @property
    def money(self) -> Decimal:
        """Price − estimate at completion [money]."""
        return less(self.price.total, self.forecast.at_completion)

    @property
    def quoted(self) -> Decimal:
        """Price − budget at completion: what it would leave if everything went as budgeted [money]."""
        return less(self.price.total, self.forecast.budget)

    @property
    def margin(self) -> Decimal | None:
        """(price − estimate at completion) / price, None for a price of nothing."""
        return ratio(self.money, self.price.total)


def forecast(
    budget: JobBudget,
    spent: Iterable[Spent],
    *,
    known: Iterable[Known] = (),
    step_spread: Decimal = Decimal("0.35"),
    bike_spread: Decimal = Decimal("0.15"),
) -> Forecast:
    """How the job is expected to close; nothing is rounded but ratios, at 28 digits.

    ``spent`` may leave out steps on which nothing was spent. The spreads are CVs of the rate book: of an operation, and of
    bikes as a whole.

    >>> from quotes.engine.results import Visit
    >>> step = StepBudget("weld", "frame", first=Visit(Decimal(600), Decimal(420), Decimal(180)),
    ...     rate=Decimal(42), overhead_rate=Decimal(18))
    >>> clocked = Spent("weld", Outlay(Decimal(240), Decimal(168), Decimal(72)))
    >>> forecast(JobBudget((step,)), [clocked], known=[Known("weld", left=Decimal(180))]).at_completion
    Decimal('420')
    """
    steps = {step.uid: step for step in budget.steps}
    reserves = {reserve.uid: reserve for reserve in budget.reserves}
    given_for = {item.uid: item for item in spent}
    told = {item.uid: item for item in known}
    seen = _performance(steps, given_for, step_spread, bike_spread)
    uids = [*steps, *(uid for uid in given_for if uid not in steps and uid not in reserves)]
    expected = {
        uid: expected_of(
            steps.get(uid) or unbudgeted(uid, ""),
            given_for.get(uid, Spent(uid)),
            known=told.get(uid, Known(uid)),
            pace=seen.believed,
        )
        for uid in uids
    }
    kept = {uid: _reserve(item, given_for.get(uid, Spent(uid))) for uid, item in reserves.items()}
    closing = of_job(budget, [*(item.spent for item in expected.values()), *kept.values()])
    return Forecast(
        budget=budget.at_completion,
        spent=added(item.cost for item in given_for.values()),
        at_completion=closing.actual,
        terms=closing.terms,
        by_uid=closing.by_uid,
        classes=_classes(budget, given_for, expected, kept, told),
        performance=seen,
        steps=expected,
        left=added(item.left for item in expected.values()),
        left_budgeted=added(_still_budgeted(step, given_for.get(uid, Spent(uid))) for uid, step in steps.items()),
    )


@exactly
def expected_of(budget: StepBudget, spent: Spent, *, known: Known, pace: Decimal = ONE) -> Expected:
    """The step as it is expected to close. ``pace`` is the performance believed for the job, above 1 for slower."""
    if spent.done:
        return _going_on(budget, spent, known)
    left, stands, ask = _left(budget, spent, known, pace)
    left_again = max(_times(budget.allowance.minutes, pace) - spent.again.minutes, NONE)
    first, again = spent.first, spent.again
    charge = budget.quoted_vendor_charge if known.charge is None else known.charge
    bought_in = budget.first.bought_in if known.bought_in is None else known.bought_in
    return Expected(
        spent=replace(
            spent,
            done=True,
            first=replace(
                first,
                minutes=first.minutes + left,
                labour=first.labour + _paid(left, budget.rate),
                overhead=first.overhead + _paid(left, budget.overhead_rate),
                used=(*first.used, *_still_to_use(budget, spent)),
                charge=max(charge, first.charge),
                handling=max(budget.quoted_handling, first.handling),
                bought_in=max(bought_in, first.bought_in),
            ),
            again=replace(
                again,
                minutes=again.minutes + left_again,
                labour=again.labour + _paid(left_again, budget.again_rate),
                overhead=again.overhead + _paid(left_again, budget.again_overhead_rate),
                used=(*again.used, *_allowed_again(budget, again)),
                charge=max(budget.allowance.vendor - again.handling, again.charge),
                bought_in=max(budget.allowance.bought_in, again.bought_in),
            ),
        ),
        left=left + left_again,
        stands=stands,
        ask=ask,
    )


def price_of(
    lines: Sequence[Agreed],
    *,
    actuals: Mapping[str, Decimal],
    provisional: Mapping[str, Decimal] | None = None,
    storage: Decimal = NONE,
) -> Price:
    """What a job brings in by what is known now: lines of its accepted quotes, by the basis of each.

    ``actuals`` [money before tax] are what capped and hourly lines are expected to come to (line uid to money, see `at_same_margin`);
    what nobody has said stands as quoted. ``provisional`` are damages found and not yet agreed as variations, at their price.
    Credits for what was paid before are added back; a variation that takes something out is a variation.

    >>> lines = [Agreed("frame", "Q1", "fixed", Decimal(800), "standard"),
    ...     Agreed("engine", "Q1", "capped", Decimal(500), "standard", Decimal(575)),
    ...     Agreed("fee", "Q1", "credit", Decimal(-100), "standard")]
    >>> price = price_of(lines, actuals={"engine": Decimal(640)})
    >>> price.total, price.credited
    (Decimal('1375'), Decimal('100'))
    """
    sums: dict[str, list[Decimal]] = {"fixed": [], "capped": [], "hourly": [], "variations": [], CREDIT: []}
    for line in lines:
        sums["variations" if line.varies else line.basis].append(counts(line, actuals.get(line.uid)))
    return Price(
        fixed=added(sums["fixed"]),
        capped=added(sums["capped"]),
        hourly=added(sums["hourly"]),
        provisional=added((provisional or {}).values()),
        variations=added(sums["variations"]),
        storage=storage,
        credited=less(NONE, *sums[CREDIT]),
    )


def said_left(minutes: int, steps: Sequence[tuple[StepBudget, Spent]]) -> dict[str, Decimal]:
    """Step uid to what is left of it [min], where a mechanic said ``minutes`` for a task of several open ``steps``.

    Shared by what the budgets of the steps still have, equally where none has any, to the minute.

    >>> from quotes.engine.results import Visit
    >>> steps = [StepBudget(uid, "tank", first=Visit(Decimal(size))) for uid, size in (("strip", 90), ("prime", 30))]
    >>> said_left(60, [(step, Spent(step.uid)) for step in steps])
    {'strip': Decimal('45'), 'prime': Decimal('15')}
    """
    weights = [_still_budgeted(budget, spent) for budget, spent in steps]
    uids = [budget.uid for budget, _ in steps]
    return dict(zip(uids, shared_out(Decimal(minutes), weights, uids, digits=0), strict=True))


class PartCost(NamedTuple):
    """What the steps and reserves of a part were budgeted and are expected to cost [money]."""

    budget: Decimal
    expected: Decimal


def by_part(budget: JobBudget, found: Forecast) -> dict[str, PartCost]:
    """Part uid to its budget and its expected cost; what nobody agreed to belongs to no part.

    >>> from quotes.engine.results import Visit
    >>> job = JobBudget((StepBudget("weld", "frame", first=Visit(vendor=Decimal(300))),))
    >>> by_part(job, forecast(job, [], known=[Known("weld", charge=Decimal(360))]))["frame"]
    PartCost(budget=Decimal('300'), expected=Decimal('360'))
    """
    uids: dict[str, list[tuple[str, Decimal]]] = {}
    for part, uid, cost in (
        *((step.part, step.uid, step.cost) for step in budget.steps),
        *((reserve.part, reserve.uid, reserve.cost) for reserve in budget.reserves),
    ):
        uids.setdefault(part, []).append((uid, cost))
    result = {}
    for part, costs in uids.items():
        whole = added(cost for _, cost in costs)
        result[part] = PartCost(whole, added((whole, *(found.by_uid[uid].total for uid, _ in costs))))
    return result


def at_same_margin(*, quoted: Decimal, budget: Decimal, expected: Decimal) -> Decimal:
    """What a capped or hourly line is expected to come to [money]: its ``quoted`` net, moved as its cost is expected to move.

    ``budget`` and ``expected`` [money] are the cost of its part as quoted and as it is expected to close, see `by_part`.

    >>> at_same_margin(quoted=Decimal(500), budget=Decimal(400), expected=Decimal(480))
    Decimal('600.0')
    """
    moved = ratio(expected, budget)
    return quoted if moved is None else CONTEXT.multiply(quoted, moved)


def _still_budgeted(budget: StepBudget, spent: Spent) -> Decimal:
    """What the hours of a step still allow [min]."""
    return NONE if spent.done else max(less(budget.minutes, spent.minutes), NONE)


def _performance(
    steps: Mapping[str, StepBudget], spent: Mapping[str, Spent], step_spread: Decimal, bike_spread: Decimal
) -> Performance:
    """Out of the steps that are done, had hours and were clocked, against what these were to take in the batches they were in.

    A step that nobody clocked says nothing about how fast the bike goes: its time is missing, not nought.
    """
    half = half_weight((step.minutes for step in steps.values()), step_spread=step_spread, bike_spread=bike_spread)
    done = [(steps[uid], item) for uid, item in spent.items() if item.done and item.minutes and uid in steps]
    return performance(
        [(item.minutes, _standard_minutes(step, item)) for step, item in done if step.minutes], half=half
    )


def _standard_minutes(budget: StepBudget, spent: Spent) -> Decimal:
    first = budget.first.minutes if spent.batched is None else spent.batched
    return added((first, budget.allowance.minutes))


def _left(budget: StepBudget, spent: Spent, known: Known, pace: Decimal) -> tuple[Decimal, Stands, bool]:
    """Minutes left of the first pass, what says so, whether somebody must be asked."""
    if known.left is not None:
        return known.left, Stands.MECHANIC, False
    planned = _times(budget.first.minutes, pace)
    left = max(planned - spent.first.minutes, NONE)
    if not planned:
        return left, Stands.NONE_PLANNED, bool(spent.first.minutes)
    return left, Stands.PERFORMANCE, not left


def _going_on(budget: StepBudget, spent: Spent, known: Known) -> Expected:
    """A step that is done: what is known now is about doing it again."""
    left = known.left or NONE
    again = replace(
        spent.again,
        minutes=spent.again.minutes + left,
        labour=spent.again.labour + _paid(left, budget.again_rate),
        overhead=spent.again.overhead + _paid(left, budget.again_overhead_rate),
        charge=spent.again.charge + (known.charge or NONE),
        bought_in=spent.again.bought_in + (known.bought_in or NONE),
    )
    return Expected(replace(spent, again=again), left, Stands.MECHANIC if left else Stands.DONE)


def _times(amount: Decimal, factor: Decimal) -> Decimal:
    return CONTEXT.multiply(amount, factor)


def _paid(minutes: Decimal, rate: Decimal | None) -> Decimal:
    """What minutes still to come cost [money]; nothing where nobody's rate is known."""
    return NONE if rate is None else by_the_hour(minutes, rate)


def _still_to_use(budget: StepBudget, spent: Spent) -> Iterable[Used]:
    used: dict[str, Decimal] = {}
    for item in spent.first.used:
        used[item.key] = used.get(item.key, NONE) + item.amount
    for quoted in budget.items:
        left = max(quoted.quantity - used.pop(quoted.key, NONE), NONE)
        if left:
            yield Used(quoted.key, left, left * quoted.price)


def _allowed_again(budget: StepBudget, again: Outlay) -> Iterable[Used]:
    """What is left of the allowance for material, as money: an allowance does not say of what."""
    left = budget.allowance.material - again.material
    if left > 0:
        yield Used("", ONE, left)


@exactly
def _reserve(reserve: Reserve, spent: Spent) -> Spent:
    """What was kept stands until more was spent or no more can come."""
    if spent.done:
        return spent
    rest = {
        name: max(getattr(reserve.expected, name) - spent.of_class(name), NONE)
        for name in ("labour", "overhead", "material", "vendor", "bought_in")
    }
    # Only as much in all as brings it to what was kept: one class may have taken what another was kept for.
    short, whole = max(less(reserve.cost, spent.cost), NONE), added(rest.values())
    share = min(ratio(short, whole) or NONE, ONE)
    scaled = {name: CONTEXT.multiply(amount, share) for name, amount in rest.items()}
    more = Outlay(
        labour=scaled["labour"],
        overhead=scaled["overhead"],
        used=(Used("", ONE, scaled["material"]),) if scaled["material"] else (),
        charge=scaled["vendor"],
        bought_in=scaled["bought_in"],
    )
    return replace(spent, first=spent.first.plus(more), done=True)


def _classes(
    budget: JobBudget,
    spent: Mapping[str, Spent],
    expected: Mapping[str, Expected],
    kept: Mapping[str, Spent],
    known: Mapping[str, Known],
) -> dict[str, ClassEstimate]:
    closing = [*(item.spent for item in expected.values()), *kept.values()]
    found = {}
    for name in CLASSES:
        so_far = added(item.of_class(name) for item in spent.values())
        ordered = _ordered(name, spent, known)
        at_completion = added(item.of_class(name) for item in closing)
        rest = less(at_completion, so_far, ordered)
        found[name] = ClassEstimate(budget.of_class(name), so_far, ordered, rest)
    return found


def _ordered(name: str, spent: Mapping[str, Spent], known: Mapping[str, Known]) -> Decimal:
    """What is agreed and not received yet [money]."""
    if name not in {"vendor", "bought_in"}:
        return NONE
    field = "charge" if name == "vendor" else "bought_in"
    amounts = []
    for uid, item in known.items():
        agreed = getattr(item, field)
        if agreed is None:
            continue
        so_far = spent.get(uid, Spent(uid))
        already = NONE if so_far.done else getattr(so_far.first, field)
        amounts.append(max(less(agreed, already), NONE))
    return added(amounts)
