"""What one visit of a step costs, with the figures it came from."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from quotes.engine.canonical import text
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
    lots: dict[tuple[str, Decimal], Figure] = field(default_factory=dict)

    def leaf(self, kind: str, item: Any, name: str, value: Decimal, unit: str) -> Figure:
        """The same given figure for the same input, made once."""
        key = (kind + name, item.key)
        figure = self.leaves.get(key)
        if figure is None:
            self.leaves[key] = figure = given(name, value, unit, item.source or item.name)
        return figure

    def policy_leaf(self, name: str, value: Decimal, unit: str) -> Figure:
        """The same for what the policy says."""
        figure = self.leaves.get((name, ""))
        if figure is None:
            self.leaves[name, ""] = figure = given(name, value, unit, self.policy.source)
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


@variant("portion_1", "the whole × own part / all parts together")
def portion(*, whole: Decimal, own: Decimal, together: Decimal) -> Decimal:
    """What of a ``whole`` falls to one who brings ``own`` of ``together`` [any unit, the same]."""
    return whole * (own / together) if together else ZERO


@variant("purchase_1", "price × pieces")
def purchase_cost(*, price: Decimal, pieces: Decimal) -> Decimal:
    """Cost [money] of ``pieces`` bought-in parts at ``price`` [money/piece]."""
    return price * pieces


def quantity(part: Part, step: Step, measure: Measure) -> Decimal:
    """How much of ``measure`` a step brings: what it says itself, else by the size of its part. No pieces, no work."""
    if not part.pieces:
        return ZERO
    if step.quantity is not None:
        return step.quantity
    if measure is Measure.BATCH:
        return ONE
    if measure is Measure.HOUR:
        raise BadInput("Give the hours for this step.", part=part.name, step=step.name, field="quantity")
    return _sized(part, measure, Decimal(part.pieces))


def extent(part: Part, step: Step, by: Measure, measure: Measure) -> Decimal:
    """How much of ``by`` a step has whose work goes by ``measure``: what fills a place, what is coated.

    A quantity given for the step is in its own measure; of other measures it only says something when it counts pieces.
    """
    if by is measure or not part.pieces:
        return quantity(part, step, by)
    counted = measure is Measure.PIECE and step.quantity is not None
    return _sized(part, by, step.quantity if counted and step.quantity is not None else Decimal(part.pieces))


def _sized(part: Part, measure: Measure, pieces: Decimal) -> Decimal:
    """``pieces`` of a part in another measure."""
    per_piece = {
        Measure.PIECE: ONE,
        Measure.DM2: part.area,
        Measure.KG: part.weight,
        Measure.OPENING: Decimal(part.openings),
        Measure.SPOKE: Decimal(part.spokes),
    }
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
    overhead_rate = book.policy_leaf("overhead rate", policy.overhead_rate, unit)
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


def usage_basis(book: Book, usage: Usage, operation: Operation, member: Member) -> Decimal:
    """What the usage of a step goes by: the quantity of its measure, or the area [dm²] that is coated."""
    if book.consumables[usage.consumable].by is By.MEASURE or not member.quantity:
        return member.quantity
    return extent(member.part, member.step, Measure.DM2, operation.measure)


def used(book: Book, usage: Usage, operation: Operation, basis: Decimal, source: str) -> Figure:
    """How much of a consumable goes into ``basis`` [measure of the operation, or dm²]."""
    consumable, leaf = book.consumables[usage.consumable], book.leaf
    method = operation.source or operation.name
    if consumable.by is By.MEASURE:
        amount = book.formulas["usage"](amount=usage.amount, quantity=basis, waste=usage.waste)
        inputs = (
            given("amount per measure", usage.amount, f"{consumable.unit}/{operation.measure}", method),
            given("quantity", basis, operation.measure, source),
            given("waste", usage.waste, "", method),
        )
        return Figure("used", amount, consumable.unit, book.variants["usage"], inputs)
    size = given("area", basis, "dm2", source)
    film = given("film", usage.film, "µm", method)
    transfer = given("transfer efficiency", usage.transfer, "", method)
    if consumable.by is By.FILM:
        litres = book.formulas["film"](area=basis, film=usage.film, solids=consumable.solids, transfer=usage.transfer)
        solids = leaf("con", consumable, "volume solids", consumable.solids, "%")
        return Figure("used", litres, consumable.unit, book.variants["film"], (size, film, solids, transfer))
    kilograms = book.formulas["powder"](
        area=basis, film=usage.film, density=consumable.density, transfer=usage.transfer
    )
    density = leaf("con", consumable, "density", consumable.density, "g/cm3")
    return Figure("used", kilograms, consumable.unit, book.variants["powder"], (size, film, density, transfer))


def mixture(book: Book, consumable: Consumable, whole: Figure) -> Figure:
    """What is mixed [unit] so that the ``whole`` of a batch can be used."""
    amount = book.formulas["mix"](
        used=whole.value,
        smallest=consumable.smallest_mix,
        pack_size=consumable.pack_size,
        whole_packs=consumable.whole_packs,
    )
    smallest = book.leaf("con", consumable, "smallest mix", consumable.smallest_mix, consumable.unit)
    inputs: tuple[Figure, ...] = (whole, smallest)
    if consumable.whole_packs:
        inputs += (book.leaf("con", consumable, "mixed in whole packs of", consumable.pack_size, consumable.unit),)
    return Figure("mixed", amount, consumable.unit, book.variants["mix"], inputs)


def material(book: Book, consumable: Consumable, own: Figure, whole: Figure, mix: Figure) -> Figure:
    """What ``own`` of the ``whole`` used in one ``mix`` costs [money]: the mix is shared by what each uses."""
    share = book.formulas["portion"](whole=mix.value, own=own.value, together=whole.value)
    cost = book.formulas["material"](amount=share, pack_size=consumable.pack_size, pack_price=consumable.pack_price)
    share_figure = Figure("share of the mix", share, consumable.unit, book.variants["portion"], (mix, own, whole))
    pack = book.leaf("con", consumable, "price of a pack", consumable.pack_price, book.policy.currency)
    size = book.leaf("con", consumable, "pack size", consumable.pack_size, consumable.unit)
    return Figure(consumable.name, cost, book.policy.currency, book.variants["material"], (share_figure, size, pack))


def lot(book: Book, service: Service, whole: Decimal) -> Figure:
    """What the vendor charges for a lot of ``whole`` [measure]."""
    found = book.lots.get((service.key, whole))
    if found is not None:
        return found
    currency, leaf = book.policy.currency, book.leaf
    charge = book.formulas["vendor"](
        quantity=whole, breaks=service.breaks, lot_charge=service.lot_charge, minimum=service.minimum
    )
    inputs = (
        given("quantity of the lot", whole, service.measure, service.name),
        leaf("ser", service, "lot charge", service.lot_charge, currency),
        leaf("ser", service, "minimum", service.minimum, currency),
        *(
            leaf("ser", service, f"rate from {text(b.quantity)}", b.rate, f"{currency}/{service.measure}")
            for b in service.breaks
        ),
    )
    figure = Figure("charge for the lot", charge, currency, book.variants["vendor"], inputs)
    book.lots[service.key, whole] = figure
    return figure


def service_visit(book: Book, service: Service, amount: Decimal, whole: Decimal) -> tuple[Visit, tuple[Figure, ...]]:
    """A member's share of one lot of ``whole`` [measure] that ``amount`` of it belongs to."""
    if not amount:
        return Visit(), ()
    policy, leaf, portion_of = book.policy, book.leaf, book.formulas["portion"]
    charge = lot(book, service, whole)
    trip = service.trip * service.trip_share
    whole_cost = book.formulas["handling"](charge=charge.value, trip=trip, rate=policy.handling_rate)
    cost = portion_of(whole=whole_cost, own=amount, together=whole)
    inputs = (
        charge,
        leaf("ser", service, "share of the trip", trip, policy.currency),
        book.policy_leaf("handling rate", policy.handling_rate, ""),
    )
    handled_figure = Figure(
        "charge with trip and handling rate", whole_cost, policy.currency, book.variants["handling"], inputs
    )
    parts = (given("own quantity", amount, service.measure, ""), charge.inputs[0])
    figure = Figure(service.name, cost, policy.currency, book.variants["portion"], (handled_figure, *parts))
    if not service.handling:
        return Visit(vendor=cost), (figure,)
    minutes = portion_of(whole=service.handling, own=amount, together=whole)
    handling = leaf("ser", service, "handling time per lot", service.handling, "min")
    time = Figure("handling time", minutes, "min", book.variants["portion"], (handling, *parts))
    visit, figures = attended(book, service.handling_grade, time)
    return visit._replace(vendor=cost), (figure, *figures)


def purchase_visit(book: Book, purchase: Purchase, amount: Decimal) -> tuple[Visit, tuple[Figure, ...]]:
    """Buying ``amount`` pieces of a bought-in part."""
    if not amount:
        return Visit(), ()
    cost = book.formulas["purchase"](price=purchase.unit_price, pieces=amount)
    inputs = (
        book.leaf("pur", purchase, "unit price", purchase.unit_price, book.policy.currency),
        given("pieces", amount, "piece", purchase.origin),
    )
    figure = Figure(purchase.name, cost, book.policy.currency, book.variants["purchase"], inputs)
    if not purchase.handling:
        return Visit(bought_in=cost), (figure,)
    time = given("handling time", purchase.handling, "min", purchase.source or purchase.name)
    visit, figures = attended(book, purchase.handling_grade, time)
    return visit._replace(bought_in=cost), (figure, *figures)
