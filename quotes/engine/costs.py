"""What a batch costs the first time, and what a step costs by itself."""

from collections.abc import Sequence
from decimal import Decimal

from quotes.engine.book import Book, Costed, Member, of_operation
from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, computed, given
from quotes.engine.inputs import (
    ONE,
    ZERO,
    By,
    Consumable,
    Measure,
    Operation,
    Part,
    Purchase,
    Service,
    Step,
    Work,
)
from quotes.engine.visits import (
    extent,
    material,
    mixture,
    operation_visit,
    purchase_visit,
    quantity,
    service_visit,
    usage_basis,
    used,
)


def members_of(parts: Sequence[Part], book: Book) -> dict[str, Member]:
    return {step.uid: member_of(part, step, book) for part in parts for step in part.steps}


def member_of(part: Part, step: Step, book: Book) -> Member:
    """The step with how much it brings, or `BadInput` when a price or a time for it is missing."""
    try:
        if step.work is Work.OPERATION:
            operation = book.operations[step.ref]
            _has_rate(book, operation.grade)
            amount = quantity(part, step, operation.measure)
            return Member(part, step, amount, operation.run * amount * step.factor)
        bought: Service | Purchase = book.services[step.ref] if step.work is Work.SERVICE else book.purchases[step.ref]
        if bought.handling:
            _has_rate(book, bought.handling_grade)
        return Member(
            part, step, quantity(part, step, bought.measure if isinstance(bought, Service) else Measure.PIECE)
        )
    except KeyError:
        missing = BadInput("It has no price or no time yet. Add one.", field="ref")
    except BadInput as error:
        missing = error
    raise missing.at(part=part.name, step=step.name)


def _has_rate(book: Book, grade: str) -> None:
    if grade not in book.grades:
        raise BadInput("Nobody's rate is known for its labour. Choose a labour grade that has a rate.", field="grade")


def cost_batch(book: Book, members: Sequence[Member], into: dict[str, Costed]) -> None:
    """Cost the first pass of every member of a batch."""
    step = members[0].step
    if step.work is Work.OPERATION:
        operation = book.operations[step.ref]
        mixed = book.policy.mixed_share if operation.shares_setup else ZERO
        if mixed or len(members) > 1:
            _cost_operation(book, operation, members, into, mixed)
            return
    if len(members) == 1:
        into[step.uid] = done_alone(book, members[0])
        return
    service = book.services[step.ref]
    members, whole = _together(members, service.measure)
    for member in members:
        into[member.step.uid] = service_visit(book, service, member.quantity, whole)


def _together(members: Sequence[Member], measure: Measure) -> tuple[Sequence[Member], Decimal]:
    """The members of a batch and what they bring together.

    What goes by the batch is done once for all of them: each brings its part of that one batch, by pieces.
    """
    if measure is not Measure.BATCH or len(members) == 1:
        return members, sum([member.quantity for member in members], ZERO)
    sharing = [member for member in members if member.step.quantity is None and member.part.pieces]
    pieces = sum(member.part.pieces for member in sharing)
    own = {id(member): Decimal(member.part.pieces) / pieces for member in sharing}
    given_for = sum((member.quantity for member in members if id(member) not in own), ZERO)
    shared = [Member(m.part, m.step, own[id(m)], m.run * own[id(m)]) if id(m) in own else m for m in members]
    return shared, given_for + (ONE if sharing else ZERO)


def _cost_operation(
    book: Book, operation: Operation, members: Sequence[Member], into: dict[str, Costed], mixed: Decimal
) -> None:
    members, whole = _together(members, operation.measure)
    shares = _set_up_shares(book, operation, members, mixed)
    materials = _materials(book, operation, members, whole)
    for member, share, figures in zip(members, shares, materials, strict=True):
        into[member.step.uid] = operation_visit(book, operation, member, share, figures)


def _set_up_shares(book: Book, operation: Operation, members: Sequence[Member], mixed: Decimal) -> list[Figure]:
    """Each member's share of the batch's set-up minutes: by run time, by count when there is none."""
    if len(members) == 1:
        return [_whole_set_up(book, operation, members[0], mixed)]
    weights, unit = [member.run for member in members], "min"
    if not any(weights):
        weights, unit = [ONE if member.quantity else ZERO for member in members], "steps"
    setups = _set_ups(book, operation, members)
    whole = given("run time of the batch", sum(weights, ZERO), unit, f"{len(members)} steps in the batch")
    return [
        _share(book, operation, setups, mixed, given("own run time", weight, unit, member.source), whole)
        for member, weight in zip(members, weights, strict=True)
    ]


def _whole_set_up(book: Book, operation: Operation, member: Member, mixed: Decimal) -> Figure:
    """The set-up of a step that is alone in its batch: the same for every such step where the place has no limit."""
    same_for_all = member.quantity and not operation.capacity
    found = book.shares.get((operation.key, mixed)) if same_for_all else None
    if found is None:
        one = given("steps in the batch", ONE if member.quantity else ZERO, "steps", "done alone")
        found = _share(book, operation, _set_ups(book, operation, [member]), mixed, one, one)
        if same_for_all:
            book.shares[operation.key, mixed] = found
    return found


def _share(book: Book, operation: Operation, setups: Figure, mixed: Decimal, own: Figure, whole: Figure) -> Figure:
    """``own`` of ``whole`` of the set-ups of a batch."""
    minutes = ZERO
    if whole.value:
        minutes = book.formulas["share"](
            setups=setups.value, setup=operation.setup, mixed=mixed, weight=own.value, weights=whole.value
        )
    setup = book.says(operation, of_operation)[4]
    saved = book.shared("share of mixed batches", mixed, book.policy.source)
    return computed("share of set-up", minutes, "min", book.variants["share"], (setups, setup, saved, whole, own))


def _set_ups(book: Book, operation: Operation, members: Sequence[Member]) -> Figure:
    """How often a batch is set up: as often as it fills its place. A load nobody knows fills it once."""
    working = [member for member in members if member.quantity]
    by, capacity = operation.capacity_by, operation.capacity
    load, source = (ONE if working else ZERO), "one batch"
    if working and capacity and by is not Measure.BATCH:
        load = sum([extent(m.part, m.step, by, operation.measure) for m in working], ZERO)
        source = "sizes of the parts" if load else "size not known: taken as one full place"
        load = load or capacity
    setups = book.formulas["setups"](load=load, capacity=capacity)
    inputs: tuple[Figure, ...] = (given("load", load, by if capacity else Measure.BATCH, source),)
    if capacity:
        inputs += (book.says(operation, of_operation)[5],)
    return computed("set-ups", setups, "", book.variants["setups"], inputs)


def _materials(book: Book, operation: Operation, members: Sequence[Member], whole: Decimal) -> list[list[Figure]]:
    """Each member's consumables, one mix per batch. What the batch uses is computed from its whole, not added up."""
    result: list[list[Figure]] = [[] for _ in members]
    for usage in operation.usages:
        item = book.consumables[usage.consumable]
        bases = [usage_basis(book, usage, operation, member) for member in members]
        batch = used(book, usage, operation, _added_up(item, operation, bases, whole))
        mix = mixture(book, item, batch)
        for figures, basis in zip(result, bases, strict=True):
            own = batch if len(members) == 1 else used(book, usage, operation, basis)
            figures.append(material(book, item, own, batch, mix))
    return result


def _added_up(item: Consumable, operation: Operation, bases: Sequence[Figure], whole: Decimal) -> Figure:
    """What all members of a batch bring together of what a usage goes by."""
    if len(bases) == 1:
        return bases[0]
    if item.by is By.MEASURE:
        return given("quantity", whole, operation.measure, operation.name)
    return given("area", sum([basis.value for basis in bases], ZERO), "dm2", operation.name)


def done_alone(book: Book, member: Member) -> Costed:
    """The step done by itself, as it is again: its whole set-up, minimum, trip and mix. Worked out once for all alike."""
    likeness = member.likeness()
    found = book.alone.get(likeness)
    if found is None:
        book.alone[likeness] = found = _by_itself(book, member)
    return found


def done_again(book: Book, member: Member) -> Costed:
    """The same as one figure."""
    likeness = ("again", *member.likeness())
    found = book.alone.get(likeness)
    if found is None:
        visit, figures = done_alone(book, member)
        figure = computed("doing it again", visit.cost, book.policy.currency, "sum_1", figures)
        book.alone[likeness] = found = (visit, (figure,))
    return found


def _by_itself(book: Book, member: Member) -> Costed:
    step = member.step
    if step.work is Work.PURCHASE:
        return purchase_visit(book, book.purchases[step.ref], member.quantity)
    if step.work is Work.SERVICE:
        return service_visit(book, book.services[step.ref], member.quantity, member.quantity)
    into: dict[str, Costed] = {}
    _cost_operation(book, book.operations[step.ref], [member], into, ZERO)
    return into[step.uid]
