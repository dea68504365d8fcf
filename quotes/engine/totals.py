"""From the steps of a restoration to its lines and totals."""

from collections.abc import Sequence
from decimal import Decimal

from quotes.engine.book import Book, Figures
from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, computed, given
from quotes.engine.formulas import variant
from quotes.engine.inputs import ZERO, Policy, PriceBy, Restoration
from quotes.engine.money import instalments, places, rounded
from quotes.engine.results import NOTHING, Instalment, Line, Result, StepResult, TaxLine, Visit, together

#: Cost class to how it is called, and to the names of its figures.
CLASS_NAMES = {
    "labour": "labour",
    "overhead": "overhead",
    "material": "consumables",
    "vendor": "vendor work",
    "bought_in": "bought-in parts",
}
CLASSES = tuple(CLASS_NAMES)
_FIGURE_NAMES = {key: (f"cost of {name}", f"price of {name}") for key, name in CLASS_NAMES.items()}


def of_policy(_book: Book, policy: Policy) -> Figures:
    """The margin on each cost class."""
    return tuple(
        given(f"margin on {label}", getattr(policy, f"{name}_margin"), "", policy.source)
        for name, label in CLASS_NAMES.items()
    )


#: No line of a restoration costs a thousand million; more is a slip of the hand, and would not fit a column.
LARGEST = Decimal(10) ** 9


@variant("sum_1", "sum")
def summed(*amounts: Decimal) -> Decimal:
    """The sum of ``amounts``."""
    return sum(amounts, ZERO)


@variant("line_1", "sum of the prices by cost class, rounded to the minor unit")
def line_price(*prices: Decimal, digits: int, rule: str) -> Decimal:
    """The amount of a line [money]: the one place where a price is rounded."""
    return rounded(sum(prices, ZERO), digits=digits, rule=rule)


@variant("instalments_1", "total × cumulative percent, rounded, less what is due before")
def due(total: Decimal, percents: Sequence[Decimal], *, digits: int, rule: str) -> list[Decimal]:
    """The payment stages [money]; see `quotes.engine.money.instalments`."""
    return instalments(total, percents, digits=digits, rule=rule)


def class_prices(book: Book, costs: Visit) -> tuple[Figure, ...]:
    """Unrounded price by cost class; with charge-out rates labour sells at its rate and overhead at nothing."""
    policy, compute, currency = book.policy, book.formulas["price"], book.policy.currency
    by_charge_out = policy.price_by is PriceBy.CHARGE_OUT
    figures = []
    margins = book.says(policy, of_policy)
    for (name, (cost_of, price_of)), margin in zip(_FIGURE_NAMES.items(), margins, strict=True):
        cost = getattr(costs, name)
        if by_charge_out and name == "labour":
            if cost or costs.sold:
                figures.append(given(price_of, costs.sold, currency, "time at charge-out rates"))
        elif by_charge_out and name == "overhead":
            if cost:
                figures.append(given(price_of, ZERO, currency, "sold with the labour"))
        elif cost:
            cost_figure = given(cost_of, cost, currency, "steps of this part")
            figures.append(
                computed(price_of, compute(cost, margin.value), currency, book.variants["price"], (cost_figure, margin))
            )
    return tuple(figures)


def result_of(book: Book, restoration: Restoration, steps: Sequence[StepResult]) -> tuple[Result, dict[str, Figure]]:
    """Lines, totals, tax and payment stages, and the figure behind each step, line and total."""
    policy, digits = restoration.policy, places(restoration.policy.currency)
    by_part: dict[str, list[StepResult]] = {part.uid: [] for part in restoration.parts}
    for step in steps:
        by_part[step.part].append(step)
    figures = {step.uid: step.figure for step in steps}
    expected, allowances, amounts = {}, {}, {}
    for part in restoration.parts:
        expected[part.uid], allowances[part.uid] = _together(by_part[part.uid])
        prices = class_prices(book, expected[part.uid])
        if sum((figure.value for figure in prices), ZERO) >= LARGEST:
            raise BadInput(
                "Its price is too large to be true. Look at its pieces, quantities and prices.", part=part.name
            )
        amount = book.formulas["line"](*(figure.value for figure in prices), digits=digits, rule=policy.rounding)
        amounts[part.uid] = amount
        figures[part.uid] = computed("price", amount, policy.currency, book.variants["line"], prices)
    lines = _lines(book, restoration, expected, allowances, amounts, digits)
    return _result(book, restoration, lines, expected, digits), figures


def _together(steps: Sequence[StepResult]) -> tuple[Visit, Visit]:
    """Expected cost and allowance of the steps of one part."""
    allowance = together([step.allowance for step in steps if step.allowance is not NOTHING])
    return together([step.first for step in steps]).plus(allowance), allowance


def _lines(
    book: Book,
    restoration: Restoration,
    expected: dict[str, Visit],
    allowances: dict[str, Visit],
    amounts: dict[str, Decimal],
    digits: int,
) -> tuple[Line, ...]:
    off = book.formulas["discount"](
        list(amounts.values()), list(amounts), restoration.discount, digits=digits, rule=restoration.policy.rounding
    )
    lines = []
    for part, discount in zip(restoration.parts, off, strict=True):
        costs, price = expected[part.uid], amounts[part.uid]
        lines.append(
            Line(
                uid=part.uid,
                part=part.name,
                price=price,
                discount=discount,
                net=price - discount,
                tax=part.tax,
                minutes=costs.minutes,
                labour=costs.labour,
                overhead=costs.overhead,
                material=costs.material,
                vendor=costs.vendor,
                bought_in=costs.bought_in,
                allowance=allowances[part.uid].cost,
            )
        )
    return tuple(lines)


def _result(
    book: Book, restoration: Restoration, lines: tuple[Line, ...], expected: dict[str, Visit], digits: int
) -> Result:
    policy = restoration.policy
    zero = rounded(ZERO, digits=digits)
    net = sum((line.net for line in lines), zero)
    tax_lines = _taxes(book, restoration, lines, digits)
    tax = sum((item.tax for item in tax_lines), zero)
    # Costs are added in the order of the uids: the last digit must not hang on how parts were given.
    ordered = sorted(lines, key=lambda line: line.uid)
    cost = sum((expected[line.uid].cost for line in ordered), ZERO)
    return Result(
        lines=lines,
        price=sum((line.price for line in lines), zero),
        discount=sum((line.discount for line in lines), zero),
        net=net,
        taxes=tax_lines,
        tax=tax,
        total=net + tax,
        instalments=_instalments(book, policy, net + tax, digits),
        minutes=sum((line.minutes for line in ordered), ZERO),
        cost=cost,
        allowance=sum((line.allowance for line in ordered), ZERO),
        floor_price=book.formulas["floor"](cost, policy.floor),
    )


def _taxes(book: Book, restoration: Restoration, lines: Sequence[Line], digits: int) -> tuple[TaxLine, ...]:
    rates = {tax.code: tax for tax in restoration.taxes}
    policy = restoration.policy
    groups = book.formulas["tax"](
        [(line.tax, line.net) for line in lines], rates, by=policy.tax_by, digits=digits, rule=policy.rounding
    )
    return tuple(
        TaxLine(code, rates[code].name, rates[code].rate, net, tax) for code, (net, tax) in sorted(groups.items())
    )


def _instalments(book: Book, policy: Policy, total: Decimal, digits: int) -> tuple[Instalment, ...]:
    if not policy.stages:
        return ()
    amounts = book.formulas["instalments"](
        total, [stage.percent for stage in policy.stages], digits=digits, rule=policy.rounding
    )
    return tuple(
        Instalment(stage.name, stage.due, amount) for stage, amount in zip(policy.stages, amounts, strict=True)
    )
