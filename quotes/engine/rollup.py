"""All of it for one restoration: parts and steps in, lines, totals and explanations out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from quotes.engine import batches, consumables, explaining, labour, plating, rework, vendor_work  # noqa: F401  (variants)
from quotes.engine.book import Book, Costed, Member
from quotes.engine.costs import cost_batch, done_again, done_alone, member_of, members_of
from quotes.engine.figures import Figure, computed, given
from quotes.engine.formulas import PRESENT, complete, resolve
from quotes.engine.graph import check_order, waits
from quotes.engine.inputs import ZERO, Part, Remedy, Restoration, Step
from quotes.engine.money import CONTEXT
from quotes.engine.remarks import of_caps, remarks
from quotes.engine.results import NOTHING, Branch, Explained, Remark, StepResult, Unseen, Visit
from quotes.engine.totals import result_of
from quotes.engine.unseen import unseen_of
from quotes.engine.validation import check


@dataclass(frozen=True, slots=True)
class Costing:
    """What everything costs, before it is made into lines: the contingency is worked out from this."""

    book: Book
    restoration: Restoration
    steps: tuple[StepResult, ...]
    batches: tuple[tuple[str, ...], ...]
    unseen: dict[str, Unseen]
    remarks: tuple[Remark, ...]

    @property
    def branches(self) -> tuple[Branch, ...]:
        """The events that happen once or not at all, part by part."""
        return tuple(branch for item in self.unseen.values() for branch in item.branches)


def price(restoration: Restoration, variants: Mapping[str, str] | None = None) -> Explained:
    """The quote of ``restoration`` by the formula ``variants`` named (the present ones when none are).

    Costs are unrounded [money]; amounts of lines, discount, tax and instalments are rounded to the currency's minor
    unit. The order in which parts are given changes no figure. The contingency is what its parts say; see
    `quotes.engine.chance.quoting` for working it out. Raises `BadInput` for what cannot be priced.
    """
    return explained(costing(restoration, variants))


def costing(restoration: Restoration, variants: Mapping[str, str] | None = None) -> Costing:
    """The first half of `price`: what every step and everything unseen costs."""
    named = complete(variants) if variants else dict(PRESENT)
    with localcontext(CONTEXT):
        check(restoration)
        before = waits(restoration.parts)
        check_order(restoration.parts, before)
        book = _book(restoration, named)
        members = members_of(restoration.parts, book)
        alone = frozenset(op.key for op in restoration.operations if not op.shares_setup)
        formed = batches.formed(batches.keys(restoration.parts, alone=alone), before)
        first: dict[str, Costed] = {}
        for batch in formed:
            cost_batch(book, [members[uid] for uid in batch], first)
        steps: list[StepResult] = []
        for part in restoration.parts:
            steps.extend(_route(book, part, members, first))
        unseen = unseen_of(book, restoration.parts)
        return Costing(book, restoration, tuple(steps), tuple(formed), unseen, remarks(restoration))


def explained(costing: Costing, restoration: Restoration | None = None) -> Explained:
    """Lines, totals and figures of what was costed; ``restoration`` is the same with shares of the contingency."""
    with localcontext(CONTEXT):
        given_now = restoration or costing.restoration
        result, figures = result_of(costing.book, given_now, costing.steps, costing.unseen)
        told = (*costing.remarks, *of_caps(result.lines))
        return Explained(result, costing.steps, costing.batches, figures, told, costing.unseen)


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
    again, (redo_figure,) = done_again(book, member)
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
    cost, figures = Visit(bought_in=replacement), []
    if replacement:
        figures.append(given("replacement", replacement, book.policy.currency, member.part.name))
    for remedy in remedies:
        work = Step(member.step.uid, member.step.name, remedy.work, remedy.ref, factor=member.step.factor)
        visit, parts = done_alone(book, member_of(member.part, work, book))
        cost = cost.plus(visit)
        figures.extend(parts)
    return cost, tuple(figures)


def _figure(book: Book, first: Costed) -> Figure:
    return computed("cost", first[0].cost, book.policy.currency, "sum_1", first[1])
