"""All of it for one restoration: parts and steps in, lines, totals and explanations out."""

from collections.abc import Mapping, Sequence
from decimal import Decimal, localcontext

from quotes.engine import batches, consumables, labour, plating, rework, vendor_work, visits  # noqa: F401  (variants)
from quotes.engine.book import Book, Costed, Member, of_operation
from quotes.engine.errors import BadInput
from quotes.engine.figures import Figure, computed, given
from quotes.engine.formulas import PRESENT, complete, resolve
from quotes.engine.graph import check_order, waits
from quotes.engine.inputs import (
    ONE,
    ZERO,
    By,
    Consumable,
    Measure,
    Operation,
    Part,
    Purchase,
    Remedy,
    Restoration,
    Service,
    Step,
    Work,
)
from quotes.engine.money import CONTEXT
from quotes.engine.remarks import remarks
from quotes.engine.results import NOTHING, Explained, StepResult, Visit
from quotes.engine.totals import result_of
from quotes.engine.validation import check
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


def price(restoration: Restoration, variants: Mapping[str, str] | None = None) -> Explained:
    """The quote of ``restoration`` by the formula ``variants`` named (the present ones when none are).

    Costs are unrounded [money]; amounts of lines, discount, tax and instalments are rounded to the currency's minor
    unit. The order in which parts are given changes no figure. Raises `BadInput` for what cannot be priced.
    """
    named = complete(variants) if variants else dict(PRESENT)
    with localcontext(CONTEXT):
        check(restoration)
        before = waits(restoration.parts)
        check_order(restoration.parts, before)
        book = _book(restoration, named)
        members = _members(restoration.parts, book)
        alone = frozenset(op.key for op in restoration.operations if not op.shares_setup)
        formed = batches.formed(batches.keys(restoration.parts, alone=alone), before)
        first: dict[str, Costed] = {}
        for batch in formed:
            _cost_batch(book, [members[uid] for uid in batch], first)
        steps: list[StepResult] = []
        for part in restoration.parts:
            steps.extend(_route(book, part, members, first))
        result, figures = result_of(book, restoration, steps)
        return Explained(result, tuple(steps), tuple(formed), figures, remarks(restoration))


def _book(restoration: Restoration, named: dict[str, str]) -> Book:
    return Book(
        policy=restoration.policy,
        formulas={topic: formula.compute for topic, formula in resolve(named).items()},
        variants=named,
        grades={item.key: item for item in restoration.grades},
        consumables={item.key: item for item in restoration.consumables},
        operations={item.key: item for item in restoration.operations},
        services={item.key: item for item in restoration.services},
        purchases={item.key: item for item in restoration.purchases},
    )


def _members(parts: Sequence[Part], book: Book) -> dict[str, Member]:
    return {step.uid: _member(part, step, book) for part in parts for step in part.steps}


def _member(part: Part, step: Step, book: Book) -> Member:
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


def _cost_batch(book: Book, members: Sequence[Member], into: dict[str, Costed]) -> None:
    """Cost the first pass of every member of a batch."""
    step = members[0].step
    if step.work is Work.OPERATION:
        operation = book.operations[step.ref]
        mixed = book.policy.mixed_share if operation.shares_setup else ZERO
        if mixed or len(members) > 1:
            _cost_operation(book, operation, members, into, mixed)
            return
    if len(members) == 1:
        into[step.uid] = _alone(book, members[0])
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


def _alone(book: Book, member: Member) -> Costed:
    """The step done by itself, as it is again: its whole set-up, minimum, trip and mix. Worked out once for all alike."""
    likeness = member.likeness()
    found = book.alone.get(likeness)
    if found is None:
        book.alone[likeness] = found = _by_itself(book, member)
    return found


def _again(book: Book, member: Member) -> Costed:
    """The same as one figure."""
    likeness = ("again", *member.likeness())
    found = book.alone.get(likeness)
    if found is None:
        visit, figures = _alone(book, member)
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


def _route(book: Book, part: Part, members: Mapping[str, Member], first: Mapping[str, Costed]) -> list[StepResult]:
    """The steps of one part with their rework allowance."""
    if not any(step.ways_back for step in part.steps) or not part.pieces:
        return [
            StepResult(step.uid, part.uid, first[step.uid][0], NOTHING, NOTHING, ZERO, _figure(book, first[step.uid]))
            for step in part.steps
        ]
    at = {step.uid: index for index, step in enumerate(part.steps)}
    stages = [
        rework.Stage(ZERO, ZERO, tuple(rework.Way(w.chance, at[w.to], ZERO) for w in step.ways_back), ZERO)
        for step in part.steps
    ]
    counts: list[rework.Visits[Decimal]] = book.formulas["rework"](stages)
    return [_redone(book, part, members[s.uid], first[s.uid], v) for s, v in zip(part.steps, counts, strict=True)]


def _redone(book: Book, part: Part, member: Member, first: Costed, count: "rework.Visits[Decimal]") -> StepResult:
    """One step with what its redo visits and failures are expected to cost."""
    step = member.step
    if not count.redone and not (count.taken and any(count.taken)):
        return StepResult(step.uid, part.uid, first[0], NOTHING, NOTHING, ZERO, _figure(book, first))
    again, (redo_figure,) = _again(book, member)
    allowance = again.times(count.redone)
    currency = book.policy.currency
    chances = tuple([given("chance of failing", way.chance, "", step.source) for way in step.ways_back])
    name = book.variants["rework"]
    redone = computed("redo visits", count.redone, "", name, chances)
    inputs, remedies = [redone, redo_figure], []
    for way, chance, taken in zip(step.ways_back, chances, count.taken, strict=True):
        if not way.remedies and not way.replacement:
            remedies.append(NOTHING)
            continue
        remedy, figures = _remedies(book, member, way.remedies, way.replacement)
        remedies.append(remedy)
        allowance = allowance.plus(remedy.times(taken))
        inputs.append(computed("expected failures", taken, "", name, (chance, redone)))
        inputs.append(computed("remedies", remedy.cost, currency, "sum_1", figures))
    redo = computed("rework allowance", allowance.cost, currency, name, tuple(inputs))
    figure = computed("cost", first[0].cost + allowance.cost, currency, "sum_1", (*first[1], redo))
    return StepResult(step.uid, part.uid, first[0], again, allowance, count.redone, figure, tuple(remedies))


def _remedies(book: Book, member: Member, remedies: Sequence[Remedy], replacement: Decimal) -> Costed:
    """What has to be done once before a failed part can go round again."""
    total, figures = Visit(bought_in=replacement), []
    if replacement:
        figures.append(given("replacement", replacement, book.policy.currency, member.part.name))
    for remedy in remedies:
        work = Step(member.step.uid, member.step.name, remedy.work, remedy.ref, factor=member.step.factor)
        visit, parts = _alone(book, _member(member.part, work, book))
        total = total.plus(visit)
        figures.extend(parts)
    return total, tuple(figures)


def _figure(book: Book, first: Costed) -> Figure:
    return computed("cost", first[0].cost, book.policy.currency, "sum_1", first[1])
