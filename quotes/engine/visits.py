"""What one visit of a step costs, with the figures it came from."""

from collections.abc import Sequence
from decimal import Decimal

from quotes.engine.book import (
    Book,
    Costed,
    Figures,
    Member,
    of_consumable,
    of_grade,
    of_operation,
    of_purchase,
    of_service,
    of_usage,
)
from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, computed, given
from quotes.engine.formulas import variant
from quotes.engine.inputs import (
    ONE,
    ZERO,
    By,
    Consumable,
    Measure,
    Operation,
    OverheadBy,
    Part,
    Purchase,
    Service,
    Step,
    Usage,
)
from quotes.engine.results import NOTHING, Visit

HOUR = Decimal(60)


@variant("share_1", "set-ups × set-up × (1 − share of mixed batches), by run time, by count when there is none")
def setup_share(*, setups: Decimal, setup: Decimal, mixed: Decimal, weight: Decimal, weights: Decimal) -> Decimal:
    """A member's part [min] of its batch's set-ups."""
    return setups * setup * (1 - mixed) * (weight / weights)


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
    if measure is Measure.PIECE:
        return pieces
    if measure is Measure.DM2:
        return pieces * part.area
    if measure is Measure.KG:
        return pieces * part.weight
    return pieces * (part.openings if measure is Measure.OPENING else part.spokes)


def attended(
    book: Book,
    grade_key: str,
    minutes: Figure,
    *,
    material: Decimal = ZERO,
    vendor: Decimal = ZERO,
    bought_in: Decimal = ZERO,
) -> Costed:
    """Labour and overhead of attended ``minutes`` of a grade, beside what else the visit costs [money]."""
    grade, policy, names, cost = book.grades[grade_key], book.policy, book.variants, book.formulas["cost"]
    time, currency = minutes.value, policy.currency
    labour, sold = cost(time, grade.cost_rate), cost(time, grade.charge_rate)
    overhead = book.formulas["overhead"](minutes=time, labour=labour, rate=policy.overhead_rate, by=policy.overhead_by)
    cost_rate, overhead_rate = book.says(grade, of_grade)
    labour_figure = computed("labour", labour, currency, names["cost"], (minutes, cost_rate))
    base = minutes if policy.overhead_by is OverheadBy.HOURS else labour_figure
    overhead_figure = computed("overhead", overhead, currency, names["overhead"], (base, overhead_rate))
    return Visit(time, labour, overhead, material, vendor, bought_in, sold), (labour_figure, overhead_figure)


def operation_visit(
    book: Book, operation: Operation, member: Member, share: Figure, materials: Sequence[Figure]
) -> Costed:
    """A visit of an operation whose batch gave it ``share`` [min] of set-up and ``materials`` [money]."""
    minutes = ZERO
    if member.quantity:
        minutes = book.formulas["labour"](
            setup=share.value,
            run=operation.run,
            quantity=member.quantity,
            condition=member.step.factor,
            allowance=operation.allowance,
            shop_factor=operation.shop_factor,
            pace=book.grades[operation.grade].pace,
        )
    quantity = member.sized(operation.measure)
    condition = book.shared("condition factor", member.step.factor, member.step.source)
    run, allowance, shop_factor, pace, *_ = book.says(operation, of_operation)
    inputs = (share, run, quantity, condition, allowance, shop_factor, pace)
    time = computed("expected time", minutes, "min", book.variants["labour"], inputs)
    if not materials:
        return attended(book, operation.grade, time)
    material = sum([figure.value for figure in materials], ZERO)
    visit, figures = attended(book, operation.grade, time, material=material)
    return visit, (*figures, *materials)


def usage_basis(book: Book, usage: Usage, operation: Operation, member: Member) -> Figure:
    """What the usage of a step goes by: the quantity of its measure, or the area [dm²] that is coated."""
    if book.consumables[usage.consumable].by is By.MEASURE:
        return member.sized(operation.measure)
    area = extent(member.part, member.step, Measure.DM2, operation.measure) if member.quantity else ZERO
    return given("area", area, "dm2", member.source)


def used(book: Book, usage: Usage, operation: Operation, basis: Figure) -> Figure:
    """How much of a consumable goes into ``basis`` [measure of the operation, or dm²]."""
    item, said, names = book.consumables[usage.consumable], book.says(usage, of_usage, operation), book.variants
    if item.by is By.MEASURE:
        amount = book.formulas["usage"](amount=usage.amount, quantity=basis.value, waste=usage.waste)
        per_measure, waste = said
        return computed("used", amount, item.unit, names["usage"], (per_measure, basis, waste))
    area, film, transfer = basis.value, usage.film, usage.transfer
    if item.by is By.FILM:
        amount = book.formulas["film"](area=area, film=film, solids=item.solids, transfer=transfer)
        return computed("used", amount, item.unit, names["film"], (basis, *said))
    amount = book.formulas["powder"](area=area, film=film, density=item.density, transfer=transfer)
    return computed("used", amount, item.unit, names["powder"], (basis, *said))


def mixture(book: Book, item: Consumable, whole: Figure) -> Figure:
    """What is mixed [unit] so that the ``whole`` of a batch can be used."""
    amount = book.formulas["mix"](
        used=whole.value, smallest=item.smallest_mix, pack_size=item.pack_size, whole_packs=item.whole_packs
    )
    size, _, smallest = book.says(item, of_consumable)
    inputs = (whole, smallest, size) if item.whole_packs else (whole, smallest)
    return computed("mixed", amount, item.unit, book.variants["mix"], inputs)


def material(book: Book, item: Consumable, own: Figure, whole: Figure, mix: Figure) -> Figure:
    """What ``own`` of the ``whole`` used in one ``mix`` costs [money]: the mix is shared by what each uses."""
    share = mix
    if own is not whole:
        amount = book.formulas["portion"](whole=mix.value, own=own.value, together=whole.value)
        share = computed("share of the mix", amount, item.unit, book.variants["portion"], (mix, own, whole))
    cost = book.formulas["material"](amount=share.value, pack_size=item.pack_size, pack_price=item.pack_price)
    size, price, _ = book.says(item, of_consumable)
    return computed(item.name, cost, book.policy.currency, book.variants["material"], (share, size, price))


def lot(book: Book, service: Service, whole: Decimal) -> Figures:
    """What a lot of ``whole`` [measure] costs with its trip and handling rate [money], and that quantity."""
    found = book.lots.get((service.key, whole))
    if found is None:
        book.lots[service.key, whole] = found = _lot(book, service, whole)
    return found


def _lot(book: Book, service: Service, whole: Decimal) -> Figures:
    currency, names = book.policy.currency, book.variants
    charge = book.formulas["vendor"](
        quantity=whole, breaks=service.breaks, lot_charge=service.lot_charge, minimum=service.minimum
    )
    trip, rate, _, *table = book.says(service, of_service)
    quantity = given("quantity of the lot", whole, service.measure, service.name)
    charged = computed("charge for the lot", charge, currency, names["vendor"], (quantity, *table))
    cost = book.formulas["handling"](charge=charge, trip=trip.value, rate=rate.value)
    name = "charge with trip and handling rate"
    return computed(name, cost, currency, names["handling"], (charged, trip, rate)), quantity


def service_visit(book: Book, service: Service, amount: Decimal, whole: Decimal) -> Costed:
    """A member's share of one lot of ``whole`` [measure] that ``amount`` of it belongs to."""
    if not amount:
        return NOTHING, ()
    portion_of, name = book.formulas["portion"], book.variants["portion"]
    charge, all_of_it = lot(book, service, whole)
    own = given("own quantity", amount, service.measure, service.name)
    cost = portion_of(whole=charge.value, own=amount, together=whole)
    figure = computed(service.name, cost, book.policy.currency, name, (charge, own, all_of_it))
    if not service.handling:
        return Visit(vendor=cost), (figure,)
    minutes = portion_of(whole=service.handling, own=amount, together=whole)
    handling = book.says(service, of_service)[2]
    time = computed("handling time", minutes, "min", name, (handling, own, all_of_it))
    visit, figures = attended(book, service.handling_grade, time, vendor=cost)
    return visit, (figure, *figures)


def purchase_visit(book: Book, purchase: Purchase, amount: Decimal) -> Costed:
    """Buying ``amount`` pieces of a bought-in part."""
    if not amount:
        return NOTHING, ()
    cost = book.formulas["purchase"](price=purchase.unit_price, pieces=amount)
    unit_price, time = book.says(purchase, of_purchase)
    pieces = given("pieces", amount, "piece", purchase.origin)
    figure = computed(purchase.name, cost, book.policy.currency, book.variants["purchase"], (unit_price, pieces))
    if not purchase.handling:
        return Visit(bought_in=cost), (figure,)
    visit, figures = attended(book, purchase.handling_grade, time, bought_in=cost)
    return visit, (figure, *figures)
