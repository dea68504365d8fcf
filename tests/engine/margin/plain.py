"""The closing identity a second time, in fractions and straight from the formulas as they are written down.

Written from the formulas and not from the code: rates times hours as fractions, no rounding anywhere, classes one by one.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction

from quotes.engine.margin.budgets import JobBudget, StepBudget
from quotes.engine.margin.spending import Outlay, Spent, Used

F = Fraction
SIXTY = F(60)


def cost(outlay: Outlay) -> Fraction:
    classes = (outlay.labour, outlay.overhead, outlay.charge, outlay.handling, outlay.bought_in)
    return sum((F(amount) for amount in (*classes, *(item.cost for item in outlay.used))), F(0))


def actual(spent: Iterable[Spent]) -> Fraction:
    return sum((cost(item.first) + cost(item.again) for item in spent), F(0))


def earned(budget: JobBudget, spent: Iterable[Spent]) -> Fraction:
    """0/100: all of the budget of what is done, nothing of the rest."""
    done = {item.uid for item in spent if item.done}
    total = F(0)
    for step in budget.steps:
        if step.uid in done:
            for visit in (step.first, step.allowance):
                total += sum(map(F, (visit.labour, visit.overhead, visit.material, visit.vendor, visit.bought_in)))
    for kept in budget.reserves:
        if kept.uid in done:
            total += sum(F(amount) for amount in kept.expected[1:6])
    return total


def terms(step: StepBudget, spent: Spent) -> dict[str, Fraction]:
    """The terms of one step that is done."""
    one, two = spent.first, spent.again
    sh_money, ra = F(step.first.labour), step.allowance
    sr, sr_again = _rate(step.rate), _rate(step.again_rate)
    po, po_again = _rate(step.overhead_rate), _rate(step.again_overhead_rate)
    ah1, ah2 = F(one.minutes) / SIXTY, F(two.minutes) / SIXTY
    batched = None if spent.batched is None else F(spent.batched) / SIXTY
    found: dict[str, Fraction] = {}

    def class_of_hours(name: str, quoted: Fraction, allowed: Fraction, rate: object, again: object) -> None:
        paid1, paid2 = F(getattr(one, name)), F(getattr(two, name))
        at1 = paid1 if rate is None else rate * ah1  # type: ignore[operator]
        at2 = paid2 if again is None else again * ah2  # type: ignore[operator]
        batch = quoted if rate is None or batched is None else rate * batched  # type: ignore[operator]
        found[f"{name}_rate"] = paid1 + paid2 - at1 - at2
        found[f"{name}_efficiency"] = at1 - batch
        found[f"{name}_batching"] = batch - quoted
        found[f"{name}_rework"] = at2 - allowed

    class_of_hours("labour", sh_money, F(ra.labour), sr, sr_again)
    class_of_hours("overhead", F(step.first.overhead), F(ra.overhead), po, po_again)
    prices = {item.key: F(item.price) for item in step.items}
    bought = sum((F(item.cost) for item in (*one.used, *two.used)), F(0))
    usage, again = _standard(one.used, prices), _standard(two.used, prices)
    found["material_price"] = bought - usage - again
    found["material_usage"] = usage - F(step.first.material)
    found["material_rework"] = again - F(ra.material)
    quoted = F(step.rule.charge) if step.rule else F(step.first.vendor)
    lots = quoted if spent.at_lots is None else F(spent.at_lots)
    found["vendor_charge"] = F(one.charge) - lots
    found["vendor_lots"] = lots - quoted
    found["vendor_handling"] = F(one.handling) - (F(step.first.vendor) - quoted)
    found["vendor_rework"] = F(two.charge) + F(two.handling) - F(ra.vendor)
    found["bought_in"] = F(one.bought_in) - F(step.first.bought_in)
    found["bought_in_rework"] = F(two.bought_in) - F(ra.bought_in)
    return found


def _rate(rate: object) -> Fraction | None:
    return None if rate is None else F(rate)  # type: ignore[arg-type]


def _standard(used: Iterable[Used], prices: Mapping[str, Fraction]) -> Fraction:
    total = F(0)
    for item in used:
        price = prices.get(item.key, None if item.price is None else F(item.price))
        total += F(item.cost) if price is None else F(item.amount) * price
    return total
