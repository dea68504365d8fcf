"""What an accepted quote allows: the budget of each step, of what nobody could see, and of the job.

Budget = first pass + its rework allowance, by cost class, without contingency. Beside its money a step keeps its standards,
so that what happens can be told apart: minutes, standard rate, overhead rate, what it was to use of each consumable and at
which price, and by which rule its vendor was to charge. What stands on no step has a reserve of its own: possible damage
that is ours, a wrong finish, comebacks.

| strip a tank, 42.00 an hour, overhead 18.00 an hour | minutes | labour | overhead | material |
| first pass                                          |      90 |  63.00 |    27.00 |     8.00 |
| a tenth of it fails and is done again               |      10 |   7.00 |     3.00 |      .89 |
| budget                                              |     100 |  70.00 |    30.00 |     8.89 |
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal, localcontext
from enum import StrEnum
from typing import NamedTuple

from quotes.engine.figures import Figure
from quotes.engine.formulas import REGISTRY
from quotes.engine.inputs import Break, Operation, OverheadBy, Purchase, Restoration, Service, Step, Work
from quotes.engine.margin.exact import added, exactly, less, ratio
from quotes.engine.money import CONTEXT
from quotes.engine.results import NONE, NOTHING, Explained, Line, StepResult, Visit
from quotes.engine.vendor_work import lot_price

#: The classes of cost, in the order in which a `Visit` has them.
CLASSES = ("labour", "overhead", "material", "vendor", "bought_in")


class Item(NamedTuple):
    """A consumable as quoted: ``quantity`` [unit] (SQ) at ``price`` [money/unit] (SP)."""

    key: str
    unit: str
    quantity: Decimal
    price: Decimal


class Rule(NamedTuple):
    """How a vendor was to charge one lot; ``own`` of the ``whole`` of it [measure] was to be this step's; ``charge`` its share [money].

    ``handling`` [money] is its share of the trip and of what the shop lays on a charge.
    """

    service: str
    breaks: tuple[Break, ...]
    lot_charge: Decimal
    minimum: Decimal
    own: Decimal
    whole: Decimal
    charge: Decimal
    handling: Decimal


@dataclass(frozen=True, slots=True)
class StepBudget:
    """What one step may take. The first pass and the rework allowance are visits: minutes, and money by cost class.

    ``rate`` is the standard rate (SR) and ``overhead_rate`` the overhead rate (POHR), both [money/h of attended time], None
    where the quote planned nobody's time; ``again_rate`` and ``again_overhead_rate`` are those of the allowance, where
    remedies may be others' work. ``setup`` and ``run`` [min] are one whole set-up and the run time of the first pass, expected
    like its minutes. ``items`` are the consumables of the first pass, ``rule`` the vendor's.
    """

    uid: str
    part: str
    work: Work = Work.OPERATION
    first: Visit = NOTHING
    allowance: Visit = NOTHING
    rate: Decimal | None = None
    overhead_rate: Decimal | None = None
    again_rate: Decimal | None = None
    again_overhead_rate: Decimal | None = None
    setup: Decimal = NONE
    run: Decimal = NONE
    items: tuple[Item, ...] = ()
    rule: Rule | None = None

    @property
    def cost(self) -> Decimal:
        """First pass and allowance, all classes together [money]."""
        return added((*self.first[1:6], *self.allowance[1:6]))

    @property
    def minutes(self) -> Decimal:
        """Attended minutes of the first pass and of the allowance [min]."""
        return added((self.first.minutes, self.allowance.minutes))

    @property
    def quoted_vendor_charge(self) -> Decimal:
        """The vendor's charge of the first pass as quoted, without trip and handling rate [money]."""
        return self.rule.charge if self.rule else self.first.vendor

    @property
    def quoted_handling(self) -> Decimal:
        """Trip and handling rate of the first pass as quoted [money]."""
        return self.rule.handling if self.rule else NONE

    def of_class(self, name: str) -> Decimal:
        """First pass and allowance of one cost class [money]."""
        return added((getattr(self.first, name), getattr(self.allowance, name)))


class Kind(StrEnum):
    """What a reserve is kept for."""

    DAMAGE = "damage"
    FINISH = "finish"
    COMEBACKS = "comebacks"


@dataclass(frozen=True, slots=True)
class Reserve:
    """Expected cost of a part that stands on no step: it is earned when it is settled that no more of it can come."""

    part: str
    kind: Kind
    expected: Visit

    @property
    def uid(self) -> str:
        """The part and the kind."""
        return f"{self.part} {self.kind.value}"

    @property
    def cost(self) -> Decimal:
        """All classes together [money]."""
        return added(self.expected[1:6])


@dataclass(frozen=True, slots=True)
class JobBudget:
    """The budget of a job: of its accepted quote and of the variations accepted since."""

    steps: tuple[StepBudget, ...]
    reserves: tuple[Reserve, ...] = ()

    @property
    def at_completion(self) -> Decimal:
        """Budget at completion [money]: all steps and reserves, without contingency."""
        return added((*(step.cost for step in self.steps), *(reserve.cost for reserve in self.reserves)))

    @property
    def minutes(self) -> Decimal:
        """Hours budgeted, first pass and allowance [min]."""
        return added(step.minutes for step in self.steps)

    def of_class(self, name: str) -> Decimal:
        """One cost class, reserves included [money]."""
        kept = (getattr(reserve.expected, name) for reserve in self.reserves)
        return added((*(step.of_class(name) for step in self.steps), *kept))


def with_reserves(budget: JobBudget, wanted: Iterable[tuple[str, Kind]]) -> JobBudget:
    """The same, with a reserve of nothing for each part and kind in ``wanted`` that has none.

    So damage that the quote did not think possible is damage all the same, and a comeback a comeback.

    >>> found = with_reserves(JobBudget(()), [("frame", Kind.DAMAGE)])
    >>> found.reserves[0].uid, str(found.at_completion)
    ('frame damage', '0')
    """
    have = {reserve.uid for reserve in budget.reserves}
    missing = {item.uid: item for item in (Reserve(part, kind, NOTHING) for part, kind in wanted)}
    return JobBudget(budget.steps, (*budget.reserves, *(item for uid, item in missing.items() if uid not in have)))


def unbudgeted(uid: str, part: str, work: Work = Work.OPERATION) -> StepBudget:
    """The budget of a step that no accepted quote has: nothing, and no standard to judge it by."""
    return StepBudget(uid, part, work)


def budget_of(explained: Explained, restoration: Restoration) -> JobBudget:
    """The budget of an accepted quote: ``explained`` is worked out from the ``restoration`` frozen with it.

    Nothing is rounded. The sum is the expected cost of the quote; with a fee that is what the lines cost, not what they
    come to.
    """
    quoted = _quoted(restoration)
    return JobBudget(tuple(_step(item, quoted) for item in explained.steps), tuple(_reserves(explained)))


def together(budgets: Iterable[JobBudget], *, taken_out: Iterable[str] = ()) -> JobBudget:
    """The budget of a quote with its variations: a later one stands over an earlier one, step by step and reserve by reserve.

    ``taken_out`` are uids of steps and reserves that a variation took out of the scope.
    """
    steps: dict[str, StepBudget] = {}
    reserves: dict[str, Reserve] = {}
    for budget in budgets:
        steps |= {step.uid: step for step in budget.steps}
        reserves |= {reserve.uid: reserve for reserve in budget.reserves}
    gone = frozenset(taken_out)
    return JobBudget(
        tuple(step for uid, step in steps.items() if uid not in gone),
        tuple(reserve for uid, reserve in reserves.items() if uid not in gone),
    )


def rule_at(rule: Rule, *, own: Decimal, whole: Decimal) -> Decimal:
    """What this step's share of a lot of ``whole`` [measure] comes to by the quoted rule [money]; ``own`` of it is its own.

    Ten kilograms at 2.00 with a minimum of 30.00 were quoted alone; they went in a lot of 40 kg, so a quarter of 80.00:

    >>> table = (Break(Decimal(0), Decimal("2.00")),)
    >>> zinc = Rule("zinc", table, Decimal(0), Decimal(30), Decimal(10), Decimal(10), Decimal(30), Decimal(0))
    >>> rule_at(zinc, own=Decimal(10), whole=Decimal(40))
    Decimal('20.0000')
    """
    charge = lot_price(quantity=whole, breaks=rule.breaks, lot_charge=rule.lot_charge, minimum=rule.minimum)
    share = ratio(own, whole)
    return CONTEXT.multiply(charge, share) if share is not None else NONE


class _Quoted(NamedTuple):
    """What a quote says about work, by key."""

    restoration: Restoration
    steps: Mapping[str, Step]
    operations: Mapping[str, Operation]
    services: Mapping[str, Service]
    purchases: Mapping[str, Purchase]
    rates: Mapping[str, Decimal]

    def rate(self, step: Step) -> Decimal | None:
        """The cost rate of whoever the quote planned for the step [money/h]."""
        if step.work is Work.OPERATION:
            return self.rates.get(self.operations[step.ref].grade)
        bought = self.services[step.ref] if step.work is Work.SERVICE else self.purchases[step.ref]
        return self.rates.get(bought.handling_grade)

    def overhead_rate(self, rate: Decimal | None) -> Decimal | None:
        """What overhead an hour of it carries [money/h]."""
        policy = self.restoration.policy
        if policy.overhead_by is OverheadBy.HOURS:
            return policy.overhead_rate
        return None if rate is None else CONTEXT.multiply(rate, policy.overhead_rate)


def in_batch(budget: StepBudget, *, run_together: Decimal, setups: int = 1) -> Decimal:
    """Standard minutes of a step's first pass in the batch in which it was really done [min], see `Spent.batched`.

    ``run_together`` [min] is the run time of all steps of that batch, its own too, also of other bikes: it shares their
    ``setups`` by run time. Where all run times are nought, give each step's share of the set-up yourself.

    A set-up of 30 min for a step of 20 min run time; another of 40 min went with it:

    >>> in_batch(StepBudget("x", "x", setup=Decimal(30), run=Decimal(20)), run_together=Decimal(60))
    Decimal('30')
    """
    whole = CONTEXT.multiply(budget.setup, Decimal(setups))
    share = ratio(CONTEXT.multiply(whole, budget.run), run_together)
    return added((budget.run, share or NONE))


def _quoted(restoration: Restoration) -> _Quoted:
    return _Quoted(
        restoration,
        {step.uid: step for part in restoration.parts for step in part.steps},
        {item.key: item for item in restoration.operations},
        {item.key: item for item in restoration.services},
        {item.key: item for item in restoration.purchases},
        {item.key: item.cost_rate for item in restoration.grades},
    )


def _step(result: StepResult, quoted: _Quoted) -> StepBudget:
    step = quoted.steps[result.uid]
    rate = quoted.rate(step)
    overhead_rate = quoted.overhead_rate(rate)
    own = not any(way.remedies for way in step.ways_back)
    allowance = result.allowance
    setup, run = _times(result.figure, quoted.operations[step.ref]) if step.work is Work.OPERATION else (NONE, NONE)
    return StepBudget(
        uid=result.uid,
        part=result.part,
        work=step.work,
        first=result.first,
        allowance=allowance,
        rate=rate,
        overhead_rate=overhead_rate,
        again_rate=rate if own else _hourly(allowance.labour, allowance.minutes, rate),
        again_overhead_rate=overhead_rate if own else _hourly(allowance.overhead, allowance.minutes, overhead_rate),
        setup=setup,
        run=run,
        items=tuple(_items(result.figure, quoted.operations[step.ref])) if step.work is Work.OPERATION else (),
        rule=_rule(result, quoted.services[step.ref]) if step.work is Work.SERVICE else None,
    )


def _hourly(money: Decimal, minutes: Decimal, otherwise: Decimal | None) -> Decimal | None:
    """What an hour of the allowance costs on average [money/h]."""
    return CONTEXT.multiply(CONTEXT.divide(money, minutes), Decimal(60)) if minutes else otherwise


def _topic(figure: Figure) -> str:
    return figure.formula.rsplit("_", 1)[0]


def _times(figure: Figure, operation: Operation) -> tuple[Decimal, Decimal]:
    """One whole set-up and the run time of the first pass [min], by the formula that the quote names."""
    for found in figure.inputs:
        if _topic(found) == "cost" and found.name == "labour":
            time = found.inputs[0]
            _share, run, quantity, *factors = (item.value for item in time.inputs)
            names = ("condition", "allowance", "shop_factor", "pace")
            usual = dict(zip(names, factors, strict=True))
            compute = REGISTRY[time.formula].compute
            with localcontext(CONTEXT):
                if not quantity:
                    return NONE, NONE
                alone = compute(setup=operation.setup, run=NONE, quantity=quantity, **usual)
                return alone, compute(setup=NONE, run=run, quantity=quantity, **usual)
    return NONE, NONE


def _items(figure: Figure, operation: Operation) -> Iterator[Item]:
    """What the first pass was to use, read from the figure of the step: share of the mix, pack size, price of a pack."""
    materials = [found for found in figure.inputs if _topic(found) == "material"]
    for usage, found in zip(operation.usages, materials, strict=False):
        share, size, price = found.inputs
        yield Item(usage.consumable, share.unit, share.value, CONTEXT.divide(price.value, size.value))


def _rule(result: StepResult, service: Service) -> Rule | None:
    """The price rule of the step's vendor job with its share, read from the figure of the step. None where nothing is sent."""
    for found in result.figure.inputs:
        if _topic(found) == "portion" and found.name == service.name:
            lot, own, whole = found.inputs
            charge, *_ = lot.inputs
            share = CONTEXT.multiply(charge.value, CONTEXT.divide(own.value, whole.value))
            handling = less(result.first.vendor, share)
            table = (service.breaks, service.lot_charge, service.minimum)
            return Rule(service.key, *table, own.value, whole.value, share, handling)
    return None


def _reserves(explained: Explained) -> Iterator[Reserve]:
    """What each part keeps for what stands on no step."""
    steps: dict[str, list[StepResult]] = {}
    for item in explained.steps:
        steps.setdefault(item.part, []).append(item)
    for uid, unseen in explained.unseen.items():
        for kind, visit in ((Kind.DAMAGE, unseen.damage), (Kind.FINISH, unseen.finish)):
            if visit is not NOTHING:
                yield Reserve(uid, kind, visit)
    for line in explained.result.lines:
        if line.comebacks:
            yield Reserve(line.uid, Kind.COMEBACKS, _kept(line, steps.get(line.uid, []), explained))


@exactly
def _kept(line: Line, steps: Iterable[StepResult], explained: Explained) -> Visit:
    """What a line costs beyond its steps and what nobody can see on it: that is kept for comebacks."""
    before = [visit for step in steps for visit in (step.first, step.allowance)]
    unseen = explained.unseen.get(line.uid)
    before += [unseen.damage, unseen.finish] if unseen else []
    kept = {name: getattr(line, name) - sum((getattr(v, name) for v in before), NONE) for name in CLASSES}
    return Visit(**kept)


def by_uid(budgets: Iterable[StepBudget]) -> Mapping[str, StepBudget]:
    """Step uid to its budget."""
    return {budget.uid: budget for budget in budgets}
