"""What one visit of a step costs, with the figures it came from."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, given
from quotes.engine.formulas import variant
from quotes.engine.inputs import (
    ONE,
    ZERO,
    By,
    Consumable,
    Grade,
    Measure,
    Operation,
    OverheadBy,
    Part,
    Policy,
    Purchase,
    Service,
    Step,
    Usage,
)
from quotes.engine.results import Visit

HOUR = Decimal(60)
Formulas = dict[str, Callable[..., Any]]


@dataclass(slots=True)
class Book:
    """The catalogue by key, the policy and the formulas a price is made with."""

    policy: Policy
    formulas: Formulas
    variants: dict[str, str]
    grades: dict[str, Grade]
    consumables: dict[str, Consumable]
    operations: dict[str, Operation]
    services: dict[str, Service]
    purchases: dict[str, Purchase]
    leaves: dict[tuple[str, str], Figure] = field(default_factory=dict)

    def leaf(self, kind: str, item: Any, name: str, value: Decimal, unit: str) -> Figure:
        """The same given figure for the same input, made once."""
        key = (kind + name, item.key)
        figure = self.leaves.get(key)
        if figure is None:
            self.leaves[key] = figure = given(name, value, unit, item.source or item.name)
        return figure


@dataclass(slots=True)
class Member:
    """A step in its batch: how much of the work's measure it brings, and its run minutes before allowance."""

    part: Part
    step: Step
    quantity: Decimal
    run: Decimal = ZERO


@variant("share_1", "set-ups × set-up × (1 − share of mixed batches), by run time, by count when there is none")
def setup_share(*, setups: Decimal, setup: Decimal, mixed: Decimal, weight: Decimal, weights: Decimal) -> Decimal:
    """A member's part [min] of its batch's set-ups."""
    return setups * setup * (1 - mixed) * weight / weights


@variant("cost_1", "minutes / 60 × cost rate")
def labour_cost(minutes: Decimal, rate: Decimal) -> Decimal:
    """Cost [money] of attended ``minutes`` at ``rate`` [money/h]."""
    return minutes / HOUR * rate


@variant("overhead_1", "direct labour hours (or labour cost) × overhead rate")
def overhead_cost(*, minutes: Decimal, labour: Decimal, rate: Decimal, by: OverheadBy) -> Decimal:
    """Overhead [money] laid on ``minutes`` at ``rate`` [money/h], or on ``labour`` [money] at ``rate`` [fraction].

    >>> overhead_cost(minutes=Decimal(0), labour=Decimal(66), rate=Decimal("2.5"), by=OverheadBy.LABOUR)
    Decimal('165.0')
    """
    return minutes / HOUR * rate if by is OverheadBy.HOURS else labour * rate


@variant("handling_1", "(charge + share of the trip) × (1 + handling rate)")
def handled(*, charge: Decimal, trip: Decimal, rate: Decimal) -> Decimal:
    """Cost [money] of a vendor's ``charge`` [money] with its ``trip`` [money] and the handling ``rate`` on the charge."""
    return charge + trip + charge * rate


@variant("material_1", "mixed / pack size × price of a pack")
def material_cost(*, amount: Decimal, pack_size: Decimal, pack_price: Decimal) -> Decimal:
    """Cost [money] of ``amount`` [unit] of a consumable."""
    return amount / pack_size * pack_price


def quantity(part: Part, step: Step, measure: Measure) -> Decimal:
    """How much of ``measure`` a step brings: what it says itself, else by the size of its part. No pieces, no work."""
    if not part.pieces:
        return ZERO
    if step.quantity is not None:
        return step.quantity
    if measure is Measure.BATCH:
        return ONE
    pieces = Decimal(part.pieces)
    per_piece = {
        Measure.PIECE: ONE,
        Measure.DM2: part.area,
        Measure.KG: part.weight,
        Measure.OPENING: Decimal(part.openings),
        Measure.SPOKE: Decimal(part.spokes),
    }
    if measure not in per_piece:
        raise BadInput("Give the hours for this step.", part=part.name, step=step.name, field="quantity")
    return pieces * per_piece[measure]


def attended(book: Book, grade_key: str, minutes: Figure) -> tuple[Visit, tuple[Figure, ...]]:
    """Labour and overhead of attended ``minutes`` of a grade."""
    grade = book.grades[grade_key]
    policy, currency = book.policy, book.policy.currency
    labour = book.formulas["cost"](minutes.value, grade.cost_rate)
    overhead = book.formulas["overhead"](
        minutes=minutes.value, labour=labour, rate=policy.overhead_rate, by=policy.overhead_by
    )
    sold = book.formulas["cost"](minutes.value, grade.charge_rate)
    rate = book.leaf("grade", grade, "cost rate", grade.cost_rate, f"{currency}/h")
    labour_figure = Figure("labour", labour, currency, book.variants["cost"], (minutes, rate))
    unit = f"{currency}/h" if policy.overhead_by is OverheadBy.HOURS else "of labour"
    key = ("overhead rate", policy.currency)
    overhead_rate = book.leaves.get(key)
    if overhead_rate is None:
        book.leaves[key] = overhead_rate = given("overhead rate", policy.overhead_rate, unit, policy.source)
    base = minutes if policy.overhead_by is OverheadBy.HOURS else labour_figure
    overhead_figure = Figure("overhead", overhead, currency, book.variants["overhead"], (base, overhead_rate))
    return (
        Visit(minutes=minutes.value, labour=labour, overhead=overhead, sold=sold),
        (labour_figure, overhead_figure),
    )


def operation_visit(
    book: Book, operation: Operation, member: Member, share: Figure, materials: Sequence[Figure]
) -> tuple[Visit, tuple[Figure, ...]]:
    """A visit of an operation whose batch gave it ``share`` [min] of set-up and ``materials`` [money]."""
    grade = book.grades[operation.grade]
    minutes = (
        book.formulas["labour"](
            setup=share.value,
            run=operation.run,
            quantity=member.quantity,
            condition=member.step.factor,
            allowance=operation.allowance,
            shop_factor=operation.shop_factor,
            pace=grade.pace,
        )
        if member.quantity
        else ZERO
    )
    leaf = book.leaf
    inputs = (
        share,
        leaf("op", operation, "run time", operation.run, f"min/{operation.measure}"),
        given("quantity", member.quantity, operation.measure, member.part.source or member.part.name),
        given("condition factor", member.step.factor, "", member.step.source),
        leaf("op", operation, "allowance", operation.allowance, ""),
        leaf("op", operation, "shop factor", operation.shop_factor, ""),
        leaf("grade", grade, "pace", grade.pace, ""),
    )
    time = Figure("expected time", minutes, "min", book.variants["labour"], inputs)
    visit, figures = attended(book, operation.grade, time)
    if not materials:
        return visit, figures
    material = sum((figure.value for figure in materials), ZERO)
    return visit._replace(material=material), figures + tuple(materials)


def used(book: Book, usage: Usage, operation: Operation, member: Member) -> tuple[Decimal, tuple[Figure, ...]]:
    """How much of a consumable a step uses [unit], with its inputs; by the part's area when it goes by film."""
    consumable = book.consumables[usage.consumable]
    if consumable.by is By.MEASURE:
        amount = book.formulas["usage"](amount=usage.amount, quantity=member.quantity, waste=usage.waste)
        return amount, (
            given("amount per measure", usage.amount, f"{consumable.unit}/{operation.measure}", operation.source),
            given("waste", usage.waste, "", operation.source),
        )
    area = (
        quantity(member.part, member.step, Measure.DM2)
        if operation.measure is Measure.DM2
        else (member.part.area * member.part.pieces)
    )
    film = given("film", usage.film, "µm", operation.source)
    transfer = given("transfer efficiency", usage.transfer, "", operation.source)
    size = given("area", area, "dm2", member.part.source or member.part.name)
    if consumable.by is By.FILM:
        litres = book.formulas["film"](area=area, film=usage.film, solids=consumable.solids, transfer=usage.transfer)
        return litres, (size, film, given("volume solids", consumable.solids, "%", consumable.source), transfer)
    kilograms = book.formulas["powder"](area=area, film=usage.film, density=consumable.density, transfer=usage.transfer)
    return kilograms, (size, film, given("density", consumable.density, "g/cm3", consumable.source), transfer)


def material(book: Book, usage: Usage, amount: Decimal, whole: Decimal, inputs: tuple[Figure, ...]) -> Figure:
    """What ``amount`` of ``whole`` used in one mix costs [money]: the mix is shared by what each uses."""
    consumable = book.consumables[usage.consumable]
    mix = book.formulas["mix"](
        used=whole, smallest=consumable.smallest_mix, pack_size=consumable.pack_size, whole_packs=consumable.whole_packs
    )
    share = mix * amount / whole if whole else ZERO
    cost = book.formulas["material"](amount=share, pack_size=consumable.pack_size, pack_price=consumable.pack_price)
    topic = {By.MEASURE: "usage", By.FILM: "film", By.POWDER: "powder"}[consumable.by]
    usage_figure = Figure("used", amount, consumable.unit, book.variants[topic], inputs)
    mix_figure = Figure("share of the mix", share, consumable.unit, book.variants["mix"], (usage_figure,))
    pack = book.leaf("con", consumable, "price of a pack", consumable.pack_price, book.policy.currency)
    size = book.leaf("con", consumable, "pack size", consumable.pack_size, consumable.unit)
    return Figure(consumable.name, cost, book.policy.currency, book.variants["material"], (mix_figure, pack, size))


def service_visit(book: Book, service: Service, amount: Decimal, whole: Decimal) -> tuple[Visit, tuple[Figure, ...]]:
    """A member's share of one lot of ``whole`` [measure] that ``amount`` of it belongs to."""
    if not amount:
        return Visit(), ()
    policy, part = book.policy, amount / whole
    lot = book.formulas["vendor"](
        quantity=whole, breaks=service.breaks, lot_charge=service.lot_charge, minimum=service.minimum
    )
    trip = service.trip * service.trip_share
    cost = book.formulas["handling"](charge=lot, trip=trip, rate=policy.handling_rate) * part
    leaf = book.leaf
    lot_figure = Figure(
        "charge for the lot",
        lot,
        policy.currency,
        book.variants["vendor"],
        (
            given("quantity of the lot", whole, service.measure, service.name),
            leaf("ser", service, "lot charge", service.lot_charge, policy.currency),
            leaf("ser", service, "minimum", service.minimum, policy.currency),
            *(
                leaf("ser", service, f"rate from {b.quantity}", b.rate, f"{policy.currency}/{service.measure}")
                for b in service.breaks
            ),
        ),
    )
    figure = Figure(
        service.name,
        cost,
        policy.currency,
        book.variants["handling"],
        (
            lot_figure,
            leaf("ser", service, "share of the trip", trip, policy.currency),
            given("handling rate", policy.handling_rate, "", policy.source),
            given("share of the lot", part, "", "by " + service.measure),
        ),
    )
    if not service.handling:
        return Visit(vendor=cost), (figure,)
    time = Figure("handling time", service.handling * part, "min", "", (), service.source or service.name)
    visit, figures = attended(book, service.handling_grade, time)
    return visit._replace(vendor=cost), (figure, *figures)


def purchase_visit(book: Book, purchase: Purchase, amount: Decimal) -> tuple[Visit, tuple[Figure, ...]]:
    """Buying ``amount`` pieces of a bought-in part."""
    if not amount:
        return Visit(), ()
    cost = purchase.unit_price * amount
    figure = Figure(
        purchase.name,
        cost,
        book.policy.currency,
        "",
        (
            book.leaf("pur", purchase, "unit price", purchase.unit_price, book.policy.currency),
            given("pieces", amount, "piece", purchase.origin),
        ),
    )
    if not purchase.handling:
        return Visit(bought_in=cost), (figure,)
    time = given("handling time", purchase.handling, "min", purchase.source or purchase.name)
    visit, figures = attended(book, purchase.handling_grade, time)
    return visit._replace(bought_in=cost), (figure, *figures)
