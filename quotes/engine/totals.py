"""From the steps of a restoration to its lines and totals."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from quotes.engine import comebacks, damage
from quotes.engine.book import Book, Figures
from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, computed, given, total
from quotes.engine.formulas import variant
from quotes.engine.inputs import ONE, ZERO, Basis, Damage, Part, Policy, PriceBy, Restoration, Treatment
from quotes.engine.money import instalments, places, rounded, shared_out
from quotes.engine.results import (
    CREDIT,
    NOTHING,
    Excluded,
    Instalment,
    Line,
    Provisional,
    Result,
    StepResult,
    TaxLine,
    Unseen,
    Visit,
    together,
)

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


def class_prices(book: Book, costs: Visit, kept: Visit = NOTHING) -> tuple[Figure, ...]:
    """Unrounded price by cost class; with charge-out rates labour sells at its rate and overhead at nothing.

    ``costs`` are expected; ``kept`` is what is kept of them for comebacks and sold with them.
    """
    policy, compute, currency = book.policy, book.formulas["price"], book.policy.currency
    by_charge_out = policy.price_by is PriceBy.CHARGE_OUT
    figures = []
    margins = book.says(policy, of_policy)
    for (name, (cost_of, price_of)), margin in zip(_FIGURE_NAMES.items(), margins, strict=True):
        cost = getattr(costs, name)
        if by_charge_out and name == "labour":
            if cost or costs.sold:
                figures.append(_with_kept(book, price_of, costs.sold, kept.sold, "time at charge-out rates"))
        elif by_charge_out and name == "overhead":
            if cost:
                figures.append(given(price_of, ZERO, currency, "sold with the labour"))
        elif cost:
            cost_figure = _with_kept(book, cost_of, cost, getattr(kept, name), "steps of this part")
            price = compute(cost_figure.value, margin.value)
            figures.append(computed(price_of, price, currency, book.variants["price"], (cost_figure, margin)))
    return tuple(figures)


def _with_kept(book: Book, name: str, amount: Decimal, kept: Decimal, source: str) -> Figure:
    """An expected ``amount`` and what is ``kept`` of it for comebacks."""
    if not kept:
        return given(name, amount, book.policy.currency, source)
    expected = given(f"expected {name}", amount, book.policy.currency, source)
    return total(name, book.policy.currency, (expected, comebacks.figure(book, expected, kept)))


class Expected(NamedTuple):
    """What a part is expected to cost, what of it is for rework, possible damage and a wrong finish [money], and what is kept of it."""

    visit: Visit
    rework: Decimal
    damage: Decimal
    finish: Decimal
    kept: Visit

    @property
    def whole(self) -> Visit:
        """With what is kept for comebacks."""
        return self.visit if self.kept is NOTHING else self.visit.plus(self.kept)


def result_of(
    book: Book, restoration: Restoration, steps: Sequence[StepResult], unseen: Mapping[str, Unseen]
) -> tuple[Result, dict[str, Figure]]:
    """Lines, totals, tax and payment stages, and the figure behind each step and line."""
    by_part: dict[str, list[StepResult]] = {part.uid: [] for part in restoration.parts}
    for step in steps:
        by_part[step.part].append(step)
    figures = {step.uid: step.figure for step in steps}
    expected = {uid: _expected(book, found, unseen.get(uid)) for uid, found in by_part.items()}
    for part in restoration.parts:
        figures[part.uid] = _line_figure(book, part, expected[part.uid])
        if expected[part.uid].kept.cost:
            figures[f"{part.uid} comebacks"] = _kept_figure(book, expected[part.uid])
    for uid, found in unseen.items():
        figures |= {f"{uid} {name}": figure for name, figure in _figures_of(found)}
    digits = places(restoration.policy.currency)
    amounts = {part.uid: figures[part.uid].value for part in restoration.parts}
    if restoration.fee is not None:
        amounts = _fee(book, restoration.fee, amounts, figures, digits)
    lines = (*_lines(book, restoration, expected, amounts, digits), *_credits(restoration, digits))
    return _result(book, restoration, lines, digits), figures


def _figures_of(unseen: Unseen) -> Iterator[tuple[str, Figure]]:
    for name, figure in (("damage", unseen.damages), ("finish", unseen.finishes)):
        if figure is not None:
            yield name, figure


def _expected(book: Book, steps: Sequence[StepResult], unseen: Unseen | None) -> Expected:
    allowance = together([step.allowance for step in steps if step.allowance is not NOTHING])
    visit = together([step.first for step in steps]).plus(allowance)
    hidden = unseen or Unseen()
    if unseen is not None:
        visit = visit.plus(hidden.damage).plus(hidden.finish)
    return Expected(visit, allowance.cost, hidden.damage.cost, hidden.finish.cost, comebacks.visit(book, visit))


def _kept_figure(book: Book, expected: Expected) -> Figure:
    before = given("expected cost without it", expected.visit.cost, book.policy.currency, "steps of this part")
    return comebacks.figure(book, before, expected.kept.cost)


def _line_figure(book: Book, part: Part, expected: Expected) -> Figure:
    """The price of a line with what it came from."""
    policy = book.policy
    prices = class_prices(book, expected.visit, expected.kept)
    if part.contingency and part.basis is Basis.FIXED:
        prices = (*prices, _contingency_price(book, part))
    if sum((figure.value for figure in prices), ZERO) >= LARGEST:
        raise BadInput("Its price is too large to be true. Look at its pieces, quantities and prices.", part=part.name)
    digits = places(policy.currency)
    amount = book.formulas["line"](*(figure.value for figure in prices), digits=digits, rule=policy.rounding)
    return computed("price", amount, policy.currency, book.variants["line"], prices)


def _contingency_price(book: Book, part: Part) -> Figure:
    """What a share of the contingency sells at: a class of its own, its margin never above the smallest."""
    policy = book.policy
    share = given("share of the contingency", part.contingency, policy.currency, "spread of this part's cost")
    margin = book.formulas["contingency_margin"](policy)
    margins = given("margin on contingency", margin, "", policy.source)
    price = book.formulas["price"](part.contingency, margin)
    return computed("price of contingency", price, policy.currency, book.variants["price"], (share, margins))


@variant("contingency_margin_1", "margin on contingency, at most the smallest margin of the cost classes")
def contingency_margin(policy: Policy) -> Decimal:
    """The margin [fraction] that contingency sells at: else a dearer damage could lower a price."""
    margins: list[Decimal] = [getattr(policy, f"{name}_margin") for name in CLASSES]
    return min(policy.contingency_margin, *margins)


@variant("fee_1", "the fee, shared over the lines by what they would cost")
def fee_shares(fee: Decimal, amounts: Sequence[Decimal], keys: Sequence[str], *, digits: int) -> list[Decimal]:
    """A fixed ``fee`` [money] over lines that would come to ``amounts`` [money]."""
    return shared_out(fee, amounts, keys, digits=digits)


def _fee(
    book: Book, fee: Decimal, amounts: dict[str, Decimal], figures: dict[str, Figure], digits: int
) -> dict[str, Decimal]:
    shares = book.formulas["fee"](rounded(fee, digits=digits), list(amounts.values()), list(amounts), digits=digits)
    whole = given("fee", fee, book.policy.currency, book.policy.source)
    for uid, share in zip(amounts, shares, strict=True):
        inputs = (whole, figures[uid])
        figures[uid] = computed("share of the fee", share, book.policy.currency, book.variants["fee"], inputs)
    return dict(zip(amounts, shares, strict=True))


def _lines(
    book: Book, restoration: Restoration, expected: dict[str, Expected], amounts: dict[str, Decimal], digits: int
) -> list[Line]:
    policy = restoration.policy
    off = book.formulas["discount"](
        list(amounts.values()), list(amounts), restoration.discount, digits=digits, rule=policy.rounding
    )
    lines = []
    for part, discount in zip(restoration.parts, off, strict=True):
        found, price = expected[part.uid], amounts[part.uid]
        costs = found.whole
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
                allowance=found.rework,
                damage=found.damage,
                finish=found.finish,
                contingency=part.contingency if part.basis is Basis.FIXED else ZERO,
                basis=part.basis.value,
                cap=_cap(book, part, price - discount, digits),
                comebacks=found.kept.cost,
            )
        )
    return lines


@variant("cap_1", "what was agreed, else the estimate × (1 + what the policy adds), rounded")
def cap(*, agreed: Decimal | None, estimate: Decimal, share: Decimal, digits: int, rule: str) -> Decimal:
    """The most [money before tax] a line comes to without asking."""
    return rounded(estimate * (1 + share) if agreed is None else agreed, digits=digits, rule=rule)


def _cap(book: Book, part: Part, estimate: Decimal, digits: int) -> Decimal | None:
    if part.basis is Basis.FIXED:
        return None
    policy = book.policy
    found: Decimal = book.formulas["cap"](
        agreed=part.cap, estimate=estimate, share=policy.cap_share, digits=digits, rule=policy.rounding
    )
    return found


def _credits(restoration: Restoration, digits: int) -> Iterator[Line]:
    """What comes off after the discount, as lines of their own that cost nothing."""
    for credit in restoration.credits:
        amount = -rounded(credit.amount, digits=digits, rule=restoration.policy.rounding)
        yield Line(
            uid=credit.uid,
            part=credit.name,
            price=amount,
            discount=rounded(ZERO, digits=digits),
            net=amount,
            tax=credit.tax,
            **dict.fromkeys(("minutes", *CLASSES, "allowance"), ZERO),
            basis=CREDIT,
        )


def _provisional(book: Book, restoration: Restoration, digits: int) -> Iterator[Provisional]:
    """What is outside the price until it is found, at its full price."""
    for part, item in _damages(restoration, Treatment.PROVISIONAL):
        cost = book.formulas["damage"](chance=ONE, low=item.low, likely=item.likely, high=item.high)
        cost += book.formulas["comebacks"](cost, book.policy.comebacks)
        price = rounded(damage.priced(book, item, cost), digits=digits, rule=book.policy.rounding)
        yield Provisional(item.uid, part.name, item.name, price)


def _damages(restoration: Restoration, treatment: Treatment) -> Iterator[tuple[Part, Damage]]:
    return (
        (part, item)
        for part in restoration.parts
        if part.pieces
        for item in part.damages
        if item.treatment is treatment
    )


def _result(book: Book, restoration: Restoration, lines: tuple[Line, ...], digits: int) -> Result:
    policy = restoration.policy
    zero = rounded(ZERO, digits=digits)
    net = sum((line.net for line in lines), zero)
    tax_lines = _taxes(book, restoration, lines, digits)
    tax = sum((item.tax for item in tax_lines), zero)
    # Costs are added in the order of the uids: the last digit must not hang on how parts were given.
    ordered = sorted(lines, key=lambda line: line.uid)
    cost = sum((line.cost for line in ordered), ZERO)
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
        damage=sum((line.damage for line in ordered), ZERO),
        finish=sum((line.finish for line in ordered), ZERO),
        contingency=sum((line.contingency for line in ordered), ZERO),
        provisional=tuple(_provisional(book, restoration, digits)),
        excluded=tuple(
            Excluded(item.uid, part.name, item.name) for part, item in _damages(restoration, Treatment.EXCLUDED)
        ),
        comebacks=sum((line.comebacks for line in ordered), ZERO),
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
        Instalment(stage.name, stage.due, amount, stage.event, stage.days)
        for stage, amount in zip(policy.stages, amounts, strict=True)
    )
