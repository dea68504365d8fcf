"""Why a job will leave other money than it was to leave a week ago.

Money left = price − budget − terms as the job is expected to close. So the change is the change of each, and adds up exactly:

    agreed anew    change of fixed lines and variations − change of the budget
    paid by actual change of capped and hourly lines
    found          change of provisional damage at its price; storage
    hours          − change of labour and overhead efficiency        batches   − change of batching gain, labour and overhead
    rates          − change of labour and overhead rate              rework    − change of rework, all classes
    material, vendors, bought-in parts, damage, wrong finish, comebacks        − change of theirs

Steps not done are in it as they are expected to close, so a step that is done as it was expected changes nothing. From the
day of acceptance (nothing spent, the price agreed) to now it is the bridge from quoted to present margin.

| last week 1,200.00, this week 940.00                         |         |
| hours: the frame takes 10 h more than was thought, at 28.00  | −280.00 |
| vendors: the plater asks 15.00 more                          |  −15.00 |
| agreed anew: a carrier for 60.00 that costs 25.00            |   35.00 |
| change                                                       | −260.00 |
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from quotes.engine.margin.exact import added, less
from quotes.engine.margin.forecast import Leaves, Price
from quotes.engine.margin.variances import NO_TERMS, Terms, add_up


class Cause(StrEnum):
    """What moves the money a job will leave."""

    AGREED = "agreed anew"
    BY_ACTUAL = "paid by actual"
    FOUND = "found"
    STORAGE = "storage"
    HOURS = "hours"
    BATCHES = "batches"
    RATES = "rates"
    REWORK = "rework"
    MATERIAL = "material"
    VENDORS = "vendors"
    BOUGHT_IN = "bought-in parts"
    DAMAGE = "damage"
    FINISH = "wrong finish"
    COMEBACKS = "comebacks"
    IN_PROGRESS = "in progress"


#: Cause to the terms of the closing identity that belong to it. A forecast has nothing in progress: it sees every step close.
TERMS_OF: Mapping[Cause, tuple[str, ...]] = {
    Cause.HOURS: ("labour_efficiency", "overhead_efficiency"),
    Cause.BATCHES: ("labour_batching", "overhead_batching"),
    Cause.RATES: ("labour_rate", "overhead_rate"),
    Cause.REWORK: ("labour_rework", "overhead_rework", "material_rework", "vendor_rework", "bought_in_rework"),
    Cause.MATERIAL: ("material_price", "material_usage"),
    Cause.VENDORS: ("vendor_charge", "vendor_lots", "vendor_handling"),
    Cause.BOUGHT_IN: ("bought_in",),
    Cause.DAMAGE: ("damage",),
    Cause.FINISH: ("finish",),
    Cause.COMEBACKS: ("comebacks",),
    Cause.IN_PROGRESS: ("in_progress",),
}


@dataclass(frozen=True, slots=True)
class Kept:
    """What has to be kept of a week so that the next can be compared with it: price, budget and estimate [money], and the
    terms of each step and reserve that are not nought (uid to term to money)."""

    price: Price
    budget: Decimal
    at_completion: Decimal
    terms: dict[str, dict[str, Decimal]]

    @property
    def money(self) -> Decimal:
        """Money the job was to leave."""
        return less(self.price.total, self.at_completion)

    def of(self, uid: str) -> Terms:
        """The terms of one step or reserve."""
        return NO_TERMS._replace(**self.terms.get(uid, {}))


def keep(leaves: Leaves) -> Kept:
    """What is to be kept of a job's week; it goes through `quotes.engine.canonical` and back unchanged."""
    found = leaves.forecast
    terms = {
        uid: {name: amount for name, amount in one._asdict().items() if amount} for uid, one in found.by_uid.items()
    }
    return Kept(
        leaves.price, found.budget, found.at_completion, {uid: amounts for uid, amounts in terms.items() if amounts}
    )


class Largest(NamedTuple):
    """The cause that moved most: by how much [money, plus for more left], the ``term`` in it and the step ``uid`` that moved most.

    ``term`` and ``uid`` are empty where the price or what was agreed moved.
    """

    cause: Cause
    amount: Decimal
    term: str = ""
    uid: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """From ``before`` to ``after`` [money left], by cause: they add up to the difference exactly."""

    before: Decimal
    after: Decimal
    causes: Mapping[Cause, Decimal]
    largest: Largest | None

    @property
    def amount(self) -> Decimal:
        """After − before [money]."""
        return less(self.after, self.before)


def grouped(terms: Terms) -> dict[Cause, Decimal]:
    """The terms by cause [money], plus for costs more.

    >>> found = grouped(Terms(labour_efficiency=Decimal(7), overhead_efficiency=Decimal(3), vendor_lots=Decimal(-2)))
    >>> {cause.value: str(amount) for cause, amount in found.items() if amount}
    {'hours': '10', 'vendors': '-2'}
    """
    return {cause: added(getattr(terms, name) for name in names) for cause, names in TERMS_OF.items()}


def change(before: Leaves | Kept, after: Leaves | Kept) -> Change:
    """Why the money left is not what it was; causes that moved nothing are left out."""
    was, now = (one if isinstance(one, Kept) else keep(one) for one in (before, after))
    steps = {uid: was.of(uid).less(now.of(uid)) for uid in {**was.terms, **now.terms}}
    found = _of_price(was, now) | grouped(add_up(steps.values()))
    moved = {cause: amount for cause, amount in found.items() if amount}
    return Change(was.money, now.money, moved, _largest(moved, steps))


def _of_price(before: Kept, after: Kept) -> dict[Cause, Decimal]:
    was, now = before.price, after.price
    agreed = less(added((now.fixed, now.variations)), was.fixed, was.variations)
    return {
        Cause.AGREED: less(agreed, less(after.budget, before.budget)),
        Cause.BY_ACTUAL: less(added((now.capped, now.hourly)), was.capped, was.hourly),
        Cause.FOUND: less(now.provisional, was.provisional),
        Cause.STORAGE: less(now.storage, was.storage),
    }


def _largest(moved: Mapping[Cause, Decimal], steps: Mapping[str, Terms]) -> Largest | None:
    """The cause that moved most; of equals the first in the order of `Cause`. ``steps`` are what each brings, plus for more left."""
    if not moved:
        return None
    cause = min(moved, key=lambda one: (-abs(moved[one]), list(Cause).index(one)))
    if cause not in TERMS_OF:
        return Largest(cause, moved[cause])
    names, sign = TERMS_OF[cause], 1 if moved[cause] > 0 else -1
    whole = add_up(steps.values())
    term = max(names, key=lambda name: sign * getattr(whole, name))
    uid = max(steps, key=lambda one: (sign * grouped(steps[one])[cause], one))
    return Largest(cause, moved[cause], term, uid)
