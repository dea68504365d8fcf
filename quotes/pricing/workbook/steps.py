"""What every step of a restoration costs, in cells: the first time, again, and what nobody can see yet."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils.text import slugify
from django.utils.translation import gettext as _

from quotes.engine import damage, inputs
from quotes.engine.book import Book, of_consumable, of_grade, of_operation, of_purchase, of_service, of_usage
from quotes.engine.costs import done_alone, member_of
from quotes.engine.figures import Figure
from quotes.engine.inputs import NONE_OF_THESE, CostClass, PriceBy, Work
from quotes.engine.results import Explained, StepResult, Unseen, Visit
from quotes.engine.totals import CLASSES, of_policy
from quotes.pricing.workbook.cells import Cells
from quotes.pricing.workbook.formulas import added

MINUTES, SOLD = "minutes", "sold"
#: What a figure of a visit is an amount of, by the topic of its formula.
KINDS = {"overhead": "overhead", "material": "material", "portion": "vendor", "purchase": "bought_in", "": "bought_in"}
FIELDS = (MINUTES, *CLASSES, SOLD)


@dataclass
class Amounts:
    """The cells that make up a visit, by class, and what they come to."""

    visit: Visit = field(default_factory=Visit)
    cells: dict[str, list[str]] = field(default_factory=lambda: {name: [] for name in FIELDS})

    def text(self, name: str) -> str:
        return added(self.cells[name])


@dataclass(frozen=True)
class StepCells:
    """A row: formulas by class for the first time and for again, with the values they come to."""

    name: str
    first: Mapping[str, str]
    again: Mapping[str, str]
    first_visit: Visit
    again_visit: Visit
    redone: str
    redone_value: Decimal


class Steps:
    """Turns what was costed into cells, part by part."""

    def __init__(self, cells: Cells, book: Book, restoration: inputs.Restoration, explained: Explained) -> None:
        self.cells, self.book, self.restoration, self.explained = cells, book, restoration, explained
        self.charge: dict[int, str] = {}
        self.of_part: dict[str, list[StepResult]] = {part.uid: [] for part in restoration.parts}
        for step in explained.steps:
            self.of_part[step.part].append(step)
        margins = book.says(book.policy, of_policy)
        self.margins = {
            name: cells.at(cells.tell(figure, _("price policy"), f"margin_on_{name}"), "")
            for name, figure in zip(CLASSES, margins, strict=True)
        }
        self._catalogue()
        self._run_times()

    # -- what the rate book says -------------------------------------------------------------------------------------

    def _catalogue(self) -> None:
        """Say what each given figure belongs to, and put what is one thing into one cell."""
        book, cells, policy = self.book, self.cells, self.book.policy
        paces, overhead = {}, ""
        for number, grade in enumerate(book.grades.values(), start=1):
            rate, on_top = book.says(grade, of_grade)
            slug = slugify(grade.name).replace("-", "_") or str(number)
            cells.at(cells.tell(rate, grade.name, f"cost_rate_{number}_{slug}"), "")
            overhead = overhead or cells.at(cells.tell(on_top, _("price policy"), "overhead_rate"), "")
            cells.same(on_top, overhead)
            source = grade.source or grade.name
            paces[grade.key] = cells.input(
                "pace", grade.pace, "", of=grade.name, source=source, called=f"pace_{number}_{slug}"
            )
            if policy.price_by is PriceBy.CHARGE_OUT:
                self.charge[id(rate)] = cells.input(
                    "charge-out rate", grade.charge_rate, rate.unit, of=grade.name, source=source,
                    called=f"charge_rate_{number}_{slug}",
                )  # fmt: skip
        for operation in book.operations.values():
            for figure in book.says(operation, of_operation):
                cells.tell(figure, operation.name)
            if operation.grade in paces:
                cells.same(book.says(operation, of_operation)[3], paces[operation.grade])
            for usage in operation.usages:
                for figure in book.says(usage, of_usage, operation):
                    cells.tell(figure, f"{book.consumables[usage.consumable].name}: {operation.name}")
        for item in book.consumables.values():
            for figure in book.says(item, of_consumable):
                cells.tell(figure, item.name)
        handling = cells.input(
            "handling rate",
            policy.handling_rate,
            "",
            of=_("price policy"),
            source=policy.source,
            called="handling_rate",
        )
        for service in book.services.values():
            for figure in book.says(service, of_service):
                cells.tell(figure, service.name)
            cells.same(book.says(service, of_service)[1], handling)
        for purchase in book.purchases.values():
            for figure in book.says(purchase, of_purchase):
                cells.tell(figure, purchase.name)

    def _run_times(self) -> None:
        """A batch shares its set-up by run times, which the engine hands over worked out: let them follow, too."""
        owns: dict[int, tuple[Figure, dict[int, Figure]]] = {}
        for step in self.explained.steps:
            for time in _of_topic(step.figure, "labour"):
                share, run, quantity, condition = time.inputs[:4]
                whole, own = share.inputs[3:5]
                if own is whole or own.unit != "min" or own.value != run.value * quantity.value * condition.value:
                    continue
                name = self._names[step.uid]
                terms = [self.cells.at(item, name) for item in (run, quantity, condition)]
                self.cells.follow(own, "*".join(terms))
                owns.setdefault(id(whole), (whole, {}))[1][id(own)] = own
        for whole, members in owns.values():
            if sum((own.value for own in members.values()), Decimal(0)) == whole.value:
                self.cells.follow(whole, added([self.cells.at(own, _("batch")) for own in members.values()]))

    @property
    def _names(self) -> dict[str, str]:
        return {step.uid: f"{part.name}: {step.name}" for part in self.restoration.parts for step in part.steps}

    # -- steps -------------------------------------------------------------------------------------------------------

    def rows(self, part: inputs.Part) -> Iterator[StepCells]:
        """The steps of a part, then what nobody can see yet on it."""
        steps = self.of_part[part.uid]
        redone, failures = self._visits(part, steps)
        for index, (step, own) in enumerate(zip(steps, part.steps, strict=True)):
            yield self._row(part, own, step, redone.get(index, ""), failures.get(index, ()))
        unseen = self.explained.unseen.get(part.uid)
        if unseen is not None:
            yield from self._damages(part, unseen)
            if unseen.finishes is not None:
                yield self._finish(part, unseen)

    def _row(
        self, part: inputs.Part, own: inputs.Step, step: StepResult, redone: str, failures: Sequence[str]
    ) -> StepCells:
        of = f"{part.name}: {own.name}"
        redo = _redo(step)
        first = self.amounts([item for item in step.figure.inputs if item is not redo], of, step.first)
        again = dict.fromkeys(FIELDS, "")
        if redo is not None:
            visited = self.amounts(redo.inputs[1].inputs, of, step.redo)
            remedies = [self.amounts(item.inputs, of, Visit()) for item in redo.inputs[3::2]]
            often = [cell for cell, way in zip(failures, own.ways_back, strict=True) if way.remedies or way.replacement]
            for name in FIELDS:
                terms = [f"{redone}*{visited.text(name)}"] if visited.cells[name] else []
                terms += [
                    f"{cell}*{item.text(name)}" for cell, item in zip(often, remedies, strict=True) if item.cells[name]
                ]
                again[name] = "+".join(terms)
        return StepCells(
            own.name,
            {name: first.text(name) for name in FIELDS},
            again,
            step.first,
            step.allowance,
            redone,
            step.redone,
        )

    def amounts(self, figures: Sequence[Figure], of: str, visit: Visit) -> Amounts:
        """The cells of a visit's figures, by class."""
        found = Amounts(visit)
        for figure in figures:
            topic = figure.formula.rpartition("_")[0]
            cell = self.cells.at(figure, of)
            if topic != "cost":
                found.cells[KINDS[topic]].append(cell)
                continue
            found.cells["labour"].append(cell)
            time, rate = figure.inputs
            minutes = self.cells.at(time, of)
            found.cells[MINUTES].append(minutes)
            if self.charge:
                found.cells[SOLD].append(f"{minutes}/60*{self.charge[id(rate)]}")
        return found

    def _visits(
        self, part: inputs.Part, steps: Sequence[StepResult]
    ) -> tuple[dict[int, str], dict[int, tuple[str, ...]]]:
        """Redo visits and expected failures of a route, by the index of the step: the later ones send parts back to the earlier.

        How often a step is done again = (failures of later steps that lead to it or before it + its own chances)
        / (1 − its own chances); failures of a way back = its chance × (1 + how often the step is done again).
        """
        at = {step.uid: index for index, step in enumerate(part.steps)}
        back: list[tuple[int, str]] = []
        redone: dict[int, str] = {}
        failures: dict[int, tuple[str, ...]] = {}
        for index in range(len(steps) - 1, -1, -1):
            redo = _redo(steps[index])
            if redo is None:
                continue
            of, visits = f"{part.name}: {part.steps[index].name}", redo.inputs[0]
            chances = [self.cells.at(chance, of) for chance in visits.inputs]
            later = [cell for to, cell in back if to <= index]
            if visits.formula == "rework_1":
                formula = added([*later, *chances])
                self.cells.follow(visits, f"({formula})/(1-{added(chances)})" if chances else formula)
            redone[index] = self.cells.at(visits, of)
            taken = tuple(
                self.cells.work(
                    "expected failures", f"{cell}*(1+{redone[index]})", chance.value * (1 + visits.value), "", of=of
                )
                for cell, chance in zip(chances, visits.inputs, strict=True)
            )
            failures[index] = taken
            for way, cell in zip(part.steps[index].ways_back, taken, strict=True):
                if at[way.to] < index:
                    back.append((at[way.to], cell))
        return redone, failures

    # -- what nobody can see yet -------------------------------------------------------------------------------------

    def _damages(self, part: inputs.Part, unseen: Unseen) -> Iterator[StepCells]:
        figures = unseen.damages.inputs if unseen.damages else ()
        for item, figure in zip(damage.ours(part), figures, strict=True):
            cell = self.cells.at(figure, f"{part.name}: {item.name}")
            first = dict.fromkeys(FIELDS, "0") | {item.cost_class.value: cell}
            if self.charge and item.cost_class is CostClass.LABOUR:
                first[SOLD] = f"{cell}/(1-{self.margins['labour']})"
            visit = damage.visit(self.book, item, figure.value)
            yield StepCells(
                _("Possible damage: %(name)s") % {"name": item.name},
                first, dict.fromkeys(FIELDS, ""), visit, Visit(), "", Decimal(0),
            )  # fmt: skip

    def _finish(self, part: inputs.Part, unseen: Unseen) -> StepCells:
        """Taking the chosen finish off and putting the right one on, for every other that may have been right."""
        question = part.question
        assert question is not None
        of = f"{part.name}: " + _("wrong finish")
        noticed = self.cells.input("chance that it is noticed", question.noticed, "", of=of)
        names = {item.key: item.name for item in question.candidates} | {NONE_OF_THESE: _("none of these")}
        chosen = next(item for item in question.candidates if item.key == question.chosen)
        off = self._works(part, chosen, chosen.remove, of)
        on = {item.key: self._works(part, item, item.apply, of) for item in question.candidates}
        chances = {
            right: self.cells.input(_("chance that it was %(name)s") % {"name": names[right]}, chance, "", of=of)
            for right, chance in unseen.belief.items()
            if right != question.chosen and chance
        }
        others = [item for key, item in on.items() if key != question.chosen] or [on[question.chosen]]
        first = {}
        for name in FIELDS:
            average = f"({added([item.text(name) for item in others])})/{len(others)}"
            terms = [
                f"{cell}*({off.text(name)}+{average if right == NONE_OF_THESE else on[right].text(name)})"
                for right, cell in chances.items()
            ]
            first[name] = f"{noticed}*({'+'.join(terms) or '0'})"
        return StepCells(_("A wrong finish"), first, dict.fromkeys(FIELDS, ""), unseen.finish, Visit(), "", Decimal(0))

    def _works(
        self, part: inputs.Part, candidate: inputs.Candidate, works: Sequence[inputs.Remedy], of: str
    ) -> Amounts:
        found = Amounts()
        for work in works:
            step = inputs.Step(part.uid, candidate.name, Work(work.work), work.ref)
            visit, figures = done_alone(self.book, member_of(part, step, self.book))
            for name, cells in self.amounts(figures, of, visit).cells.items():
                found.cells[name] += cells
        return found


def _redo(step: StepResult) -> Figure | None:
    """The rework allowance among a step's figures."""
    last = step.figure.inputs[-1] if step.figure.inputs else None
    return last if last is not None and last.formula.startswith("rework_") else None


def _of_topic(figure: Figure, topic: str) -> Iterator[Figure]:
    for item in (found for _depth, found in figure.walk()):
        if item.formula.rpartition("_")[0] == topic:
            yield item
