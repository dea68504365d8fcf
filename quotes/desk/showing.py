"""What the restoration's page shows: rows by area with their prices, and the sum that stays in view."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from quotes.engine.money import places, rounded
from quotes.engine.results import StepResult
from quotes.pricing.offer import deviates, finish_text
from quotes.pricing.selectors import Priced
from quotes.pricing.services import told
from shop.methods.models import FinishRoute, FinishStep
from shop.restorations.models import Part
from shop.routes.models import Step


@dataclass(slots=True)
class Row:
    """A part in the list."""

    part: Part
    price: Decimal | None
    finish: str
    deviates: bool
    steps: int


@dataclass(slots=True)
class Area:
    """An area of the bike with its parts."""

    name: str
    rows: list[Row] = field(default_factory=list)


@dataclass(slots=True)
class StepRow:
    """A step on the route of an open part."""

    step: Step
    minutes: Decimal | None
    cost: Decimal | None
    waits: list[tuple[int, str]]
    first_of_stretch: bool


def areas(found: Priced) -> list[Area]:
    """The rows of the list; parts of one area that stand apart stay apart, as the outline has them."""
    prices = {line.uid: line.price for line in found.explained.result.lines} if found.explained else {}
    result: list[Area] = []
    for part in found.scope.parts:
        name = part.area_name or _("Other")
        if not result or result[-1].name != name:
            result.append(Area(name))
        row = Row(
            part=part,
            price=prices.get(str(part.uid)),
            finish=finish_text(part.agreed_finish),
            deviates=deviates(part),
            steps=len(found.scope.steps[part.pk]),
        )
        result[-1].rows.append(row)
    return result


def sums(found: Priced) -> dict[str, Any]:
    """The sum box: what the customer pays, what it costs, what is left, and what a person must know."""
    base = {"restoration": found.scope.restoration, "draft": found.draft}
    if found.explained is None:
        assert found.error is not None
        return base | {"error": found.error.sentence(_(found.error.template))}
    result = found.explained.result
    digits = places(found.given.policy.currency) if found.given else 2
    remarks = found.explained.remarks
    return base | {
        "result": result,
        "cost": rounded(result.cost, digits=digits),
        "allowance": rounded(result.allowance, digits=digits),
        "left": result.net - rounded(result.cost, digits=digits),
        "margin": result.margin,
        "floor": rounded(result.floor_price, digits=digits),
        "below_floor": result.below_floor and bool(result.lines),
        "blocking": [told(remark) for remark in remarks if remark.blocking],
        "guessed": [
            ": ".join(word for word in (remark.part, remark.step) if word) for remark in remarks if not remark.blocking
        ],
    }


def step_rows(found: Priced, part: Part) -> list[StepRow]:
    """The route of one part, step by step."""
    results: dict[str, StepResult] = {step.uid: step for step in found.explained.steps} if found.explained else {}
    digits = places(found.given.policy.currency) if found.given else 2
    rows, origin = [], None
    for step in found.scope.steps.get(part.pk, []):
        costed = results.get(str(step.uid))
        names = [(w.pk, _waited(found, w.on_id)) for w in found.scope.waits.get(step.pk, ())]
        rows.append(
            StepRow(
                step=step,
                minutes=costed.first.minutes + costed.allowance.minutes if costed else None,
                cost=rounded(costed.first.cost + costed.allowance.cost, digits=digits) if costed else None,
                waits=names,
                first_of_stretch=step.origin != origin,
            )
        )
        origin = step.origin
    return rows


def taken_off(found: Priced, part: Part) -> list[Step]:
    """Steps that were taken off the route by hand and can come back: not those another finish has replaced."""
    routes = found.scope.routes.steps
    of_finish = {
        Step.Origin.FINISH: routes.get((part.agreed_finish_id or 0, part.material, FinishRoute.Direction.APPLY), []),
        Step.Origin.STRIP: routes.get((part.old_finish_id or 0, part.material, FinishRoute.Direction.REMOVE), []),
    }
    works = {origin: {_work(step) for step in steps} for origin, steps in of_finish.items()}
    live = {(step.origin, *_work(step), step.position) for step in found.scope.steps.get(part.pk, [])}
    result: dict[tuple[object, ...], Step] = {}
    removed = part.steps.filter(removed_at__isnull=False).select_related("operation", "service")
    for step in removed.order_by("removed_at"):
        place = (step.origin, *_work(step), step.position)
        own = step.origin not in works or _work(step) in works[Step.Origin(step.origin)]
        if own and place not in live:
            result[(*place, step.buy)] = step
    return sorted(result.values(), key=lambda step: step.position)


def _work(step: Step | FinishStep) -> tuple[int | None, int | None]:
    return step.operation_id, step.service_id


def _waited(found: Priced, pk: int) -> str:
    step = found.scope.step_by_pk[pk]
    part = next(part for part in found.scope.parts if part.pk == step.part_id)
    return f"{part}: {step}"
