"""Why actual cost (AC) is not earned value (EV): named terms that add up exactly, step by step.

A plus costs more than budgeted, a minus less. SR, SP, POHR are the standards of the accepted quote; AH, AQ what was clocked
and used, in the first pass (fp) and again (rw); RA the rework allowance of a class; SH' the standard hours in the batch in
which a step was really done.

    AC − EV = (AL − SR·AH)                        labour rate
            + SR·(AH_fp − SH') + SR·(SH' − SH)    labour efficiency, batching gain
            + (SR·AH_rw − RA_L)                   labour rework
            + (AM − SP·AQ) + SP·(AQ_fp − SQ) + (SP·AQ_rw − RA_M)       material price, usage, rework
            + [charge − rule at actual lots] + [rule at actual − rule quoted]
            + (handling − quoted) + (V_rw − RA_V)                      vendors
            + (bought in − quoted) + (B_rw − RA_B)                     bought-in parts
            + (AO − POHR·AH) + POHR·(AH_fp − SH') + POHR·(SH' − SH) + (POHR·AH_rw − RA_O)
            + damage + wrong finish + comebacks                        reserves: spent − kept
            + in progress                                              steps not done: EV is 0, so all they cost

SR·SH, SP·SQ and so on are the quote's own money, so that EV is the budget to the last digit. Where a quote has no standard
(nobody's time, a stuff it does not know), the actual stands in for it: then there is no rate or price to differ, and all of
it is efficiency or usage.

| tank, budget 90 + 10 min, 42.00/h, POHR 18.00/h; 100 min at 45.00 and 20 min again | labour | overhead |
| actual: 120 min                                                                    |  90.00 |    36.00 |
| labour rate: 90.00 − 42.00·2                                                       |   6.00 |        — |
| efficiency: 10 min more than 90                                                    |   7.00 |     3.00 |
| rework: 20 min against 10                                                          |   7.00 |     3.00 |
| actual − budget of 70.00 and 30.00                                                 |  20.00 |     6.00 |

For the whole shop two more terms close what the jobs leave open: what overhead cost beside what was applied to them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, computed, given
from quotes.engine.margin.budgets import Item, JobBudget, Kind, Reserve, StepBudget, unbudgeted
from quotes.engine.margin.exact import added, by_the_hour, exactly, less
from quotes.engine.margin.spending import Outlay, Spent, Used
from quotes.engine.results import NONE


class Terms(NamedTuple):
    """The terms of the closing identity [money], plus for more than budgeted. `WORDS` says how each reads."""

    labour_rate: Decimal = NONE
    labour_efficiency: Decimal = NONE
    labour_batching: Decimal = NONE
    labour_rework: Decimal = NONE
    material_price: Decimal = NONE
    material_usage: Decimal = NONE
    material_rework: Decimal = NONE
    vendor_charge: Decimal = NONE
    vendor_lots: Decimal = NONE
    vendor_handling: Decimal = NONE
    vendor_rework: Decimal = NONE
    bought_in: Decimal = NONE
    bought_in_rework: Decimal = NONE
    overhead_rate: Decimal = NONE
    overhead_efficiency: Decimal = NONE
    overhead_batching: Decimal = NONE
    overhead_rework: Decimal = NONE
    damage: Decimal = NONE
    finish: Decimal = NONE
    comebacks: Decimal = NONE
    in_progress: Decimal = NONE

    @property
    def total(self) -> Decimal:
        """All terms together: AC − EV [money]."""
        return added(self)

    @property
    def batching_gain(self) -> Decimal:
        """What doing it in fuller batches than quoted saved, labour and overhead [money]: plus for saved."""
        return less(NONE, self.labour_batching, self.overhead_batching)

    @property
    def rework(self) -> Decimal:
        """What doing things again cost beyond its allowance, all classes [money]."""
        return added(getattr(self, name) for name in self._fields if name.endswith("_rework"))

    def less(self, other: "Terms") -> "Terms":
        """This less the ``other``, term by term."""
        return Terms._make(map(less, self, other))


#: No difference.
NO_TERMS = Terms()

#: Term to its name and to how it is worked out.
WORDS: Mapping[str, tuple[str, str]] = {
    "labour_rate": ("labour rate", "actual labour − standard rate × actual hours"),
    "labour_efficiency": (
        "labour efficiency",
        "standard rate × (hours of the first pass − standard hours in the batch done)",
    ),
    "labour_batching": (
        "batching gain, labour",
        "standard rate × (standard hours in the batch done − standard hours quoted)",
    ),
    "labour_rework": ("labour rework", "standard rate × hours again − rework allowance for labour"),
    "material_price": ("material price", "actual material − standard price × quantity used"),
    "material_usage": ("material usage", "standard price × (quantity used in the first pass − standard quantity)"),
    "material_rework": ("material rework", "standard price × quantity used again − rework allowance for material"),
    "vendor_charge": ("vendor charge", "charge − quoted rule at the lots sent"),
    "vendor_lots": ("vendor lots", "quoted rule at the lots sent − quoted rule at the lots quoted"),
    "vendor_handling": ("vendor handling", "trips and handling rate − the same as quoted"),
    "vendor_rework": ("vendor rework", "vendors' work done again − rework allowance for vendors"),
    "bought_in": ("bought-in parts", "bought-in parts − the same as quoted"),
    "bought_in_rework": ("bought-in parts again", "replacements − rework allowance for bought-in parts"),
    "overhead_rate": ("overhead rate", "applied overhead − overhead rate quoted × actual hours"),
    "overhead_efficiency": (
        "overhead efficiency",
        "overhead rate × (hours of the first pass − standard hours in the batch done)",
    ),
    "overhead_batching": (
        "batching gain, overhead",
        "overhead rate × (standard hours in the batch done − standard hours quoted)",
    ),
    "overhead_rework": ("overhead rework", "overhead rate × hours again − rework allowance for overhead"),
    "damage": ("possible damage", "cost of damage that is ours − what was kept for it"),
    "finish": ("wrong finish", "cost of a wrong finish − what was kept for it"),
    "comebacks": ("comebacks", "cost of comebacks − what was kept for them"),
    "in_progress": ("in progress", "cost of what is not done yet: nothing of it is earned"),
}


def add_up(terms: Iterable[Terms]) -> Terms:
    """All ``terms`` together, term by term, exactly."""
    columns = tuple(zip(*terms, strict=True))
    return Terms(*(added(column) for column in columns)) if columns else NO_TERMS


class _Levels(NamedTuple):
    """Money at the standards of the quote: first pass, in the batch done, again."""

    first: Decimal
    batch: Decimal
    again: Decimal


@exactly
def of_step(budget: StepBudget, spent: Spent) -> Terms:
    """Why the step cost other than it earned [money].

    Its terms add up to actual cost less earned value without any rounding. Raises `BadInput` where the two speak of
    different steps. The table in the head of this module:

    >>> from quotes.engine.results import Visit
    >>> tank = StepBudget("tank", "tank", first=Visit(Decimal(90), Decimal(63), Decimal(27)),
    ...     allowance=Visit(Decimal(10), Decimal(7), Decimal(3)), rate=Decimal(42), overhead_rate=Decimal(18),
    ...     again_rate=Decimal(42), again_overhead_rate=Decimal(18))
    >>> spent = Spent("tank", Outlay(Decimal(100), Decimal(75), Decimal(30)),
    ...     Outlay(Decimal(20), Decimal(15), Decimal(6)), done=True)
    >>> terms = of_step(tank, spent)
    >>> [str(term.quantize(Decimal("0.01"))) for term in terms if term]
    ['6.00', '7.00', '7.00', '3.00', '3.00']
    """
    _same(budget.uid, spent.uid)
    if not spent.done:
        return Terms(in_progress=spent.cost)
    first, again = spent.first, spent.again
    labour, overhead = _labour(budget, spent), _overhead(budget, spent)
    prices = {item.key: item.price for item in budget.items}
    usage, usage_again = _at_standard(first.used, prices), _at_standard(again.used, prices)
    quoted = budget.quoted_vendor_charge
    lots = quoted if spent.at_lots is None else spent.at_lots
    return Terms(
        labour_rate=first.labour + again.labour - labour.first - labour.again,
        labour_efficiency=labour.first - labour.batch,
        labour_batching=labour.batch - budget.first.labour,
        labour_rework=labour.again - budget.allowance.labour,
        material_price=first.material + again.material - usage - usage_again,
        material_usage=usage - budget.first.material,
        material_rework=usage_again - budget.allowance.material,
        vendor_charge=first.charge - lots,
        vendor_lots=lots - quoted,
        vendor_handling=first.handling - budget.first.vendor + quoted,
        vendor_rework=again.charge + again.handling - budget.allowance.vendor,
        bought_in=first.bought_in - budget.first.bought_in,
        bought_in_rework=again.bought_in - budget.allowance.bought_in,
        overhead_rate=first.overhead + again.overhead - overhead.first - overhead.again,
        overhead_efficiency=overhead.first - overhead.batch,
        overhead_batching=overhead.batch - budget.first.overhead,
        overhead_rework=overhead.again - budget.allowance.overhead,
    )


@exactly
def of_reserve(reserve: Reserve, spent: Spent) -> Terms:
    """Why what was kept for damage, a wrong finish or comebacks is not what they cost; ``spent.done``: no more can come."""
    _same(reserve.uid, spent.uid)
    if not spent.done:
        return Terms(in_progress=spent.cost)
    return NO_TERMS._replace(**{_TERM_OF[reserve.kind]: spent.cost - reserve.cost})


_TERM_OF = {Kind.DAMAGE: "damage", Kind.FINISH: "finish", Kind.COMEBACKS: "comebacks"}


@dataclass(frozen=True, slots=True)
class JobVariances:
    """The terms of a job by step and reserve (uid), and all together, with its actual cost and earned value [money]."""

    by_uid: Mapping[str, Terms]
    terms: Terms
    actual: Decimal
    earned: Decimal


def of_job(budget: JobBudget, spent: Iterable[Spent]) -> JobVariances:
    """The closing identity of a job: Σ terms = AC − EV exactly.

    Everything that is done must be in ``spent``, also where nothing was spent on it: else it is not earned. What was spent
    on a uid that the ``budget`` does not have (a step nobody has agreed to) is judged against nothing.
    Raises `BadInput` where a uid is given twice.
    """
    given_for = _by_uid(spent)
    steps = {step.uid: step for step in budget.steps}
    reserves = {reserve.uid: reserve for reserve in budget.reserves}
    found: dict[str, Terms] = {}
    earned: list[Decimal] = []
    for uid, item in given_for.items():
        if uid in reserves:
            found[uid] = of_reserve(reserves[uid], item)
            earned += [reserves[uid].cost] if item.done else []
        else:
            step = steps.get(uid) or unbudgeted(uid, "")
            found[uid] = of_step(step, item)
            earned += [step.cost] if item.done else []
    actual = added(item.cost for item in given_for.values())
    return JobVariances(found, add_up(found.values()), actual, added(earned))


def explain(budget: StepBudget, spent: Spent, currency: str) -> tuple[Figure, ...]:
    """The terms of a step that are not nought, each with its formula and inputs (`WORDS` says how they read)."""
    terms, inputs = of_step(budget, spent), _inputs(budget, spent, currency)
    return tuple(
        computed(WORDS[name][0], amount, currency, name, inputs.get(name, inputs["in_progress"]))
        for name, amount in zip(Terms._fields, terms, strict=True)
        if amount
    )


class ShopTerms(NamedTuple):
    """What closes the books of the shop [money]: terms of all jobs, overhead spending, volume."""

    jobs: Terms
    spending: Decimal
    volume: Decimal

    @property
    def total(self) -> Decimal:
        """Ledger actual − Σ earned [money]."""
        return added((*self.jobs, self.spending, self.volume))


@exactly
def of_shop(
    jobs: Iterable[JobVariances], *, overhead_actual: Decimal, overhead_allowed: Decimal, overhead_applied: Decimal
) -> ShopTerms:
    """Σ terms of ``jobs`` + spending + volume = ledger actual − Σ earned.

    ``overhead_actual`` [money] is what overhead cost in the time, ``overhead_allowed`` what the budget allowed for the hours
    worked (fixed + variable × hours), ``overhead_applied`` what the jobs bear. Spending = actual − allowed; volume = allowed
    − applied: what too few hours left unborne. Both together are what is under-absorbed.

    >>> shop = of_shop([], overhead_actual=Decimal(256_500), overhead_allowed=Decimal(251_000),
    ...     overhead_applied=Decimal(250_000))
    >>> shop.spending, shop.volume, shop.total
    (Decimal('5500'), Decimal('1000'), Decimal('6500'))
    """
    terms = add_up(job.terms for job in jobs)
    return ShopTerms(terms, overhead_actual - overhead_allowed, overhead_allowed - overhead_applied)


def _same(budget: str, spent: str) -> None:
    if budget != spent:
        raise BadInput("The budget is of {budget}, what was spent is of {spent}.", budget=budget, spent=spent)


def _by_uid(spent: Iterable[Spent]) -> dict[str, Spent]:
    found: dict[str, Spent] = {}
    for item in spent:
        if item.uid in found:
            raise BadInput("What was spent on {uid} is given twice.", field="spent", uid=item.uid)
        found[item.uid] = item
    return found


def _labour(budget: StepBudget, spent: Spent) -> _Levels:
    first = _standard(spent.first.minutes, budget.rate, spent.first.labour)
    again = _standard(spent.again.minutes, budget.again_rate, spent.again.labour)
    return _Levels(first, _in_batch(budget.first.labour, budget.rate, spent), again)


def _overhead(budget: StepBudget, spent: Spent) -> _Levels:
    first = _standard(spent.first.minutes, budget.overhead_rate, spent.first.overhead)
    again = _standard(spent.again.minutes, budget.again_overhead_rate, spent.again.overhead)
    return _Levels(first, _in_batch(budget.first.overhead, budget.overhead_rate, spent), again)


def _standard(minutes: Decimal, rate: Decimal | None, actual: Decimal) -> Decimal:
    """``minutes`` at the standard ``rate``, what they did cost where there is none [money]."""
    return actual if rate is None else by_the_hour(minutes, rate)


def _in_batch(quoted: Decimal, rate: Decimal | None, spent: Spent) -> Decimal:
    """What the first pass was to cost in the batch in which it was done [money]."""
    return quoted if spent.batched is None or rate is None else by_the_hour(spent.batched, rate)


def _at_standard(used: Iterable[Used], prices: Mapping[str, Decimal]) -> Decimal:
    """What was ``used`` at standard prices [money]."""
    return sum((_item_at_standard(item, prices.get(item.key, item.price)) for item in used), NONE)


def _item_at_standard(item: Used, price: Decimal | None) -> Decimal:
    return item.cost if price is None else item.amount * price


def _inputs(budget: StepBudget, spent: Spent, currency: str) -> dict[str, tuple[Figure, ...]]:
    """What each term of a step is worked out from."""
    per_hour = f"{currency}/h"
    first, again, quoted = budget.first, budget.allowance, "accepted quote"
    hours_first = given("minutes of the first pass", spent.first.minutes, "min", "clockings")
    hours_again = given("minutes again", spent.again.minutes, "min", "clockings")
    standard = given("standard minutes quoted", first.minutes, "min", quoted)
    batched = given(
        "standard minutes in the batch done",
        first.minutes if spent.batched is None else spent.batched,
        "min",
        quoted if spent.batched is None else "batches as they were done",
    )
    charge = given("charge", spent.first.charge, currency, "vendors' charges")
    rule = given("rule as quoted", budget.quoted_vendor_charge, currency, quoted)
    lots = rule._replace(name="rule at the lots sent") if spent.at_lots is None else None
    lots = lots or given("rule at the lots sent", spent.at_lots or NONE, currency, "lots as they were sent")
    rate, again_rate = (
        _maybe(name, value, per_hour)
        for name, value in (("standard rate", budget.rate), ("standard rate again", budget.again_rate))
    )
    overhead, again_overhead = (
        _maybe(name, value, per_hour)
        for name, value in (
            ("overhead rate", budget.overhead_rate),
            ("overhead rate again", budget.again_overhead_rate),
        )
    )

    def actual(name: str, value: Decimal) -> Figure:
        return given(name, value, currency, "cost entries")

    def allowance(name: str) -> Figure:
        return given("rework allowance", getattr(again, name), currency, quoted)

    units = {item.key: item.unit for item in budget.items}

    def went_in(outlay: Outlay, when: str) -> tuple[Figure, ...]:
        return tuple(f for item in outlay.used for f in _used(item, currency, units.get(item.key, ""), when))

    used, used_again = went_in(spent.first, "in the first pass"), went_in(spent.again, "again")
    items = tuple(figure for item in budget.items for figure in _item(item, currency))
    return {
        "labour_rate": (actual("labour", spent.of_class("labour")), *rate, hours_first, *again_rate, hours_again),
        "labour_efficiency": (*rate, hours_first, batched),
        "labour_batching": (*rate, batched, standard),
        "labour_rework": (*again_rate, hours_again, allowance("labour")),
        "material_price": (*used, *used_again, *items),
        "material_usage": (*used, *items),
        "material_rework": (*used_again, *items, allowance("material")),
        "vendor_charge": (charge, lots),
        "vendor_lots": (lots, rule),
        "vendor_handling": (
            actual("trips and handling rate", spent.first.handling),
            given("trips and handling rate as quoted", budget.quoted_handling, currency, quoted),
        ),
        "vendor_rework": (actual("vendors' work again", spent.again.vendor), allowance("vendor")),
        "bought_in": (
            actual("bought-in parts", spent.first.bought_in),
            given("bought-in parts as quoted", first.bought_in, currency, quoted),
        ),
        "bought_in_rework": (actual("replacements", spent.again.bought_in), allowance("bought_in")),
        "overhead_rate": (
            actual("applied overhead", spent.of_class("overhead")),
            *overhead,
            hours_first,
            *again_overhead,
            hours_again,
        ),
        "overhead_efficiency": (*overhead, hours_first, batched),
        "overhead_batching": (*overhead, batched, standard),
        "overhead_rework": (*again_overhead, hours_again, allowance("overhead")),
        "in_progress": (actual("spent so far", spent.cost),),
    }


def _maybe(name: str, value: Decimal | None, unit: str) -> tuple[Figure, ...]:
    return () if value is None else (given(name, value, unit, "accepted quote"),)


def _used(item: Used, currency: str, unit: str, when: str) -> tuple[Figure, Figure]:
    amount = given(f"{item.key}, used {when}", item.amount, unit, "mixes")
    return amount, given(f"{item.key}, cost {when}", item.cost, currency, "cost entries")


def _item(item: Item, currency: str) -> tuple[Figure, Figure]:
    quantity = given(f"{item.key}, standard quantity", item.quantity, item.unit, "accepted quote")
    return quantity, given(f"{item.key}, standard price", item.price, f"{currency}/{item.unit}", "accepted quote")
