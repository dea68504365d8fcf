"""Where the figures of a whole quote come from, worked out when somebody asks: the price itself does not wait for it.

Every function gives a `Figure` whose inputs go down to what was given, with unit, source and date.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal, localcontext

from quotes.engine import comebacks
from quotes.engine.figures import Figure, computed, given, total
from quotes.engine.formulas import PRESENT, variant
from quotes.engine.inputs import Restoration, TaxBy
from quotes.engine.money import CONTEXT
from quotes.engine.results import CREDIT, Explained, StepResult
from quotes.engine.totals import CLASS_NAMES


@variant("net_1", "price of the lines − discount − what was paid before")
def net(price: Decimal, discount: Decimal, *paid: Decimal) -> Decimal:
    """The net [money]; ``paid`` are negative lines already."""
    return price - discount + sum(paid, Decimal(0))


@variant("contingency_1", "cost not exceeded in that share of such bikes − expected cost, at least 0, rounded")
def added(quantile: Decimal, mean: Decimal) -> Decimal:
    """What is added [money]."""
    return max(quantile - mean, Decimal(0))


def line(explained: Explained, restoration: Restoration, uid: str) -> Figure:
    """The price of a part's line, its cost classes opened down to the steps."""
    with localcontext(CONTEXT):
        steps = [step for step in explained.steps if step.part == uid]
        names = {step.uid: step.name for part in restoration.parts for step in part.steps}
        opened = {f"cost of {label}": key for key, label in CLASS_NAMES.items()}
        return _opened(explained.figures[uid], explained, uid, steps, names, opened)


def _opened(
    figure: Figure,
    explained: Explained,
    uid: str,
    steps: Sequence[StepResult],
    names: dict[str, str],
    opened: dict[str, str],
) -> Figure:
    if figure.name in opened:
        brought = _of_class(opened[figure.name], figure.unit, explained, uid, steps, names)
        kept = (item for item in figure.inputs if item.name == comebacks.NAME)
        return total(figure.name, figure.unit, (*brought, *kept))
    inputs = tuple(_opened(item, explained, uid, steps, names, opened) for item in figure.inputs)
    return figure._replace(inputs=inputs)


def _of_class(
    key: str, unit: str, explained: Explained, uid: str, steps: Sequence[StepResult], names: dict[str, str]
) -> Iterator[Figure]:
    """What each step, and what is not seen yet, brings to a cost class."""
    for step in steps:
        first, again = getattr(step.first, key), getattr(step.allowance, key)
        if first:
            yield given(names[step.uid], first, unit, "first pass; opened at the step")
        if again:
            yield given(f"{names[step.uid]}, again", again, unit, "rework allowance; opened at the step")
    for name in ("damage", "finish"):
        figure = explained.figures.get(f"{uid} {name}")
        if figure is None:
            continue
        unseen = explained.unseen[uid]
        brought = getattr(getattr(unseen, name), key)
        if brought == figure.value:
            yield figure
        elif brought:
            yield given(figure.name, brought, unit, "its part in this class")


def whole(explained: Explained, restoration: Restoration) -> tuple[Figure, ...]:
    """Price, discount, net, tax, total, expected cost and floor, in the order a person adds them up."""
    with localcontext(CONTEXT):
        return tuple(_whole(explained, restoration))


def _whole(explained: Explained, restoration: Restoration) -> Iterator[Figure]:
    result, currency = explained.result, restoration.policy.currency
    lines = [given(item.part, item.price, currency, "its line") for item in result.lines if item.basis != CREDIT]
    price = total("price of the lines", currency, tuple(lines))
    yield price
    share = given("discount", restoration.discount, "", "terms of this quote")
    discount = computed("discount", result.discount, currency, PRESENT["discount"], (price, share))
    yield discount
    paid = [given(item.part, item.price, currency, "paid before") for item in result.lines if item.basis == CREDIT]
    net = computed("net", result.net, currency, "net_1", (price, discount, *paid))
    yield net
    taxes = tuple(_taxes(explained, restoration))
    yield from taxes
    yield total("total", currency, (net, *taxes))
    cost = total(
        "expected cost", currency, tuple(given(i.part, i.cost, currency, "its line") for i in result.lines if i.cost)
    )
    yield cost
    if result.comebacks:
        kept = tuple(given(i.part, i.comebacks, currency, "its line") for i in result.lines if i.comebacks)
        yield total(comebacks.NAME, currency, kept)
    floor = given("least margin", restoration.policy.floor, "", restoration.policy.source)
    yield computed("floor", result.floor_price, currency, PRESENT["floor"], (cost, floor))


def _taxes(explained: Explained, restoration: Restoration) -> Iterator[Figure]:
    currency, sources = restoration.policy.currency, {tax.code: tax.source for tax in restoration.taxes}
    for tax in explained.result.taxes:
        if restoration.policy.tax_by is TaxBy.LINE:
            nets = [
                given(i.part, i.net, currency, "its line, rounded by itself")
                for i in explained.result.lines
                if i.tax == tax.code
            ]
        else:
            nets = [given("net under this rate", tax.net, currency, "the lines under it")]
        rate = given("rate", tax.rate, "", sources[tax.code])
        yield computed(tax.name, tax.tax, currency, PRESENT["tax"], (*nets, rate))


def contingency(
    *, mean: Decimal, quantile: Decimal, kept: Decimal, amount: Decimal, restoration: Restoration
) -> Figure:
    """What is added above expected cost so that the fixed prices hold ``kept`` of the time."""
    currency, source = restoration.policy.currency, restoration.policy.source
    inputs = (
        given("cost not exceeded in that share of such bikes", quantile, currency, "simulation of this restoration"),
        given("expected cost of the fixed lines", mean, currency, "their lines"),
        given("prices are to hold for", kept, "", source),
    )
    return computed("contingency", amount, currency, "contingency_1", inputs)
