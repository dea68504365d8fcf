"""What the restoration's page shows: rows by area with their prices, and the sum that stays in view."""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.desk.drawing import fixed_lines
from quotes.engine.inputs import Restoration
from quotes.engine.money import places, rounded
from quotes.engine.remarks import CAP_TOO_LOW, NO_SIZE, NO_SPOKES, REFUSED, STRENGTH_UNKNOWN
from quotes.engine.results import Remark, StepResult
from quotes.pricing.models import Draft, Stage
from quotes.pricing.money.settling import concerns
from quotes.pricing.offer import deviates, finish_text
from quotes.pricing.planning import Worked
from quotes.pricing.selectors import Priced, agreed_net
from quotes.pricing.services import told
from shop.methods.models import FinishRoute, FinishStep
from shop.papers.pictures import chances
from shop.restorations.models import Part
from shop.routes.models import Plan, Step

#: The box of a part in which a concern is settled.
BOX = {
    NO_SIZE: "size_class",
    NO_SPOKES: "spokes",
    STRENGTH_UNKNOWN: "strength",
    REFUSED: "agreed_finish",
    CAP_TOO_LOW: "cap_minor",
}


@dataclass(frozen=True, slots=True)
class Settle:
    """A part on which something is to be settled: what, and where."""

    part: str
    address: str
    sentences: tuple[str, ...]


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
    base = {
        "restoration": found.scope.restoration,
        "draft": found.draft,
        "ready": ready(found.draft, timezone.localdate()),
        "agreed": agreed_net(found.scope.restoration),
        "whole_bike": found.draft.stage in {Stage.INSPECT, Stage.VARIATION},
    }
    if found.explained is None:
        assert found.error is not None
        return base | {"error": found.error.sentence(_(found.error.template))}
    result = found.explained.result
    digits = places(found.given.policy.currency) if found.given else 2
    remarks, settle = found.explained.remarks, to_settle(found)
    ballpark = found.draft.stage == Stage.BALLPARK
    return base | {
        "result": result,
        "cost": rounded(result.cost, digits=digits),
        "allowance": rounded(result.allowance, digits=digits),
        "damage": rounded(result.damage, digits=digits),
        "wrong_finish": rounded(result.finish, digits=digits),
        "comebacks": rounded(result.comebacks, digits=digits),
        "contingency": rounded(result.contingency, digits=digits),
        "provisional": result.provisional,
        "sure": _sure(found),
        "left": result.net + result.credited - rounded(result.cost, digits=digits),
        "margin": result.margin,
        "floor": rounded(result.floor_price, digits=digits),
        "below_floor": result.below_floor and bool(result.lines),
        "blocking": () if ballpark else settle,
        "warned": settle if ballpark else (),
        "guessed": [
            ": ".join(word for word in (remark.part, remark.step) if word) for remark in remarks if not remark.blocking
        ],
    }


def to_settle(found: Priced) -> tuple[Settle, ...]:
    """What must be settled before an offer goes out, one line for each part."""
    return tuple(
        Settle(item.part, _where(item.uid, item.remarks[0]), tuple(map(_sentence, item.remarks)))
        for item in concerns(found)
    )


def _where(uid: str, remark: Remark) -> str:
    box = BOX.get(remark.text)
    return reverse("desk:part", args=[uid]) + (f"#box-{uid}-{box}" if box else "")


def _sentence(remark: Remark) -> str:
    return _(remark.text).format(**dict(remark.values))


def _sure(found: Priced) -> dict[str, str]:
    """How sure the fixed prices are, in words; nothing where none is fixed."""
    lines = fixed_lines(found) if found.assessment else None
    if lines is None or not lines.price or found.assessment is None:
        return {}
    return {
        "kept": chances.in_words(found.assessment.kept),
        "loss": chances.capital(chances.such_bikes_lose(found.assessment.chance_of_loss(lines.price))),
    }


def ready(draft: Draft, today: date, *, error: str = "") -> dict[str, Any]:
    """The ready day that is kept, and whether it is that of the scope as it stands."""
    kept = Plan.objects.filter(restoration=draft.restoration_id).defer("content").first()
    fresh = kept is not None and kept.scope_version == draft.restoration.scope_version and kept.starts_on >= today
    return {"plan": kept, "fresh": fresh, "error": error}


def days(worked: Worked, given: Restoration) -> dict[str, Any]:
    """What must leave, be back, and be ordered by when; what decides the day; and what a person must know."""
    names = {step.uid: part.name for part in given.parts for step in part.steps}
    works = {item.key: item.name for item in given.services} | {item.key: item.name for item in given.purchases}
    lots = [
        {
            "vendor": lot.vendor,
            "service": works[lot.service],
            "parts": list(dict.fromkeys(names[uid] for uid in lot.steps)),
            "leave_by": _date(lot.must_leave),
            "back_by": _date(lot.must_be_back),
            "drives": lot.steps[0] in worked.planned.chain,
        }
        for lot in sorted(worked.planned.lots, key=lambda lot: (lot.must_leave, lot.vendor))
        if not lot.is_out
    ]
    orders = [
        {
            "part": names[order.step],
            "purchase": works[order.purchase],
            "order_by": _date(order.order_by),
            "needed": _date(order.needed),
        }
        for order in sorted(worked.planned.orders, key=lambda order: (order.order_by, order.purchase))
        if not order.is_ordered
    ]
    out = [
        *(
            (one.must_be_back, one.back, one.service, one.steps, one.vendor)
            for one in worked.planned.lots
            if one.is_out
        ),
        *((one.needed, one.there, one.purchase, (one.step,), "") for one in worked.planned.orders if one.is_ordered),
    ]
    causes = [
        (cause.name or _("the hands there are"), chances.in_words(cause.share)) for cause in worked.promise.causes
    ]
    remarks = [told(remark) for remark in (*worked.planned.remarks, *worked.promise.remarks)]
    return {
        "lots": lots,
        "orders": orders,
        "out": [
            {
                "back_by": _date(must),
                "expected": _date(back),
                "what": works[work],
                "vendor": vendor,
                "parts": list(dict.fromkeys(names[uid] for uid in steps)),
                "drives": steps[0] in worked.planned.chain,
            }
            for must, back, work, steps, vendor in sorted(out)
        ],
        "causes": causes,
        "remarks": remarks,
        "certain": _date(worked.planned.ready),
        "likely": _date(worked.promise.likely),
        "kept": _date(worked.promise.day),
        "chance": chances.in_words(worked.promise.kept),
        "bound": worked.planned.bound.value,
        "place": worked.planned.place,
        "give_or_take": worked.promise.error,
    }


def _date(instant: str) -> date:
    return date.fromisoformat(instant[:10])


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
