"""Laying a route: from templates and finishes to the steps of a part.

Positions leave room between the stretches of a route, so that a stretch can be replaced without touching the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from shop.methods.models import Finish, FinishRoute, FinishStep, Material, MethodStep, Service
from shop.restorations.models import Part
from shop.routes.models import Step

GAP = 10
FIRST = {Step.Origin.BEFORE: 10_000, Step.Origin.STRIP: 30_000, Step.Origin.FINISH: 50_000, Step.Origin.AFTER: 70_000}
ORDER = tuple(FIRST)

Laid = list[tuple[Step, MethodStep]]
RouteKey = tuple[int, str, str]


class NoRouteError(ValidationError):
    """Nobody has said how to put this finish on this material, or how to take it off."""


@dataclass(slots=True)
class Routes:
    """The finish routes by finish, material and direction, loaded once."""

    steps: dict[RouteKey, list[FinishStep]] = field(default_factory=dict)

    def of(self, finish: Finish, material: str, direction: str, *, part: str) -> list[FinishStep]:
        """The steps of a route, or `NoRouteError`."""
        found = self.steps.get((finish.pk, material, direction))
        if found:
            return found
        if direction == FinishRoute.Direction.APPLY:
            text = _(
                "%(part)s: there is no route to put “%(finish)s” on %(material)s. Choose another finish or material."
            )
        else:
            text = _(
                "%(part)s: there is no route to take “%(finish)s” off %(material)s. Choose another finish or material."
            )
        raise NoRouteError(text, params={"part": part, "finish": finish, "material": Material(material).label})


def all_routes() -> Routes:
    """Every finish route, in one query."""
    routes = Routes()
    query = FinishStep.objects.select_related("route", "operation", "service").order_by("route", "position")
    for step in query:
        key = (step.route.finish_id, step.route.material, step.route.direction)
        routes.steps.setdefault(key, []).append(step)
    return routes


def stretch(
    part: Part, origin: Step.Origin, methods: Sequence[MethodStep], *, finish: Finish | None, **extra: Any
) -> Laid:
    """Unsaved steps of one stretch of ``part``'s route, in order, each with the method step it came from."""
    return [
        (
            Step(
                part=part,
                position=FIRST[origin] + GAP * index,
                origin=origin,
                operation=method.operation,
                service=method.service,
                fail_chance=method.fail_chance,
                remedy_finish=finish if method.remove_first else None,
                quantity=getattr(method, "quantity", None),
                buy=getattr(method, "buy", ""),
                buy_source=getattr(method, "buy_origin", ""),
                buy_price_minor=getattr(method, "buy_price_minor", 0),
                buy_handling=getattr(method, "buy_handling", 0),
                **extra,
            ),
            method,
        )
        for index, method in enumerate(methods)
    ]


def strip_steps(part: Part, routes: Routes) -> Laid:
    """Unsaved steps that take the old finish off; none where there is nothing to take off."""
    if part.old_finish is None:
        return []
    methods = routes.of(part.old_finish, part.material, FinishRoute.Direction.REMOVE, part=part.name)
    return stretch(part, Step.Origin.STRIP, methods, finish=None)


def finish_steps(part: Part, routes: Routes) -> Laid:
    """Unsaved steps that put the agreed finish on; none where nothing goes on."""
    if part.agreed_finish is None:
        return []
    methods = routes.of(part.agreed_finish, part.material, FinishRoute.Direction.APPLY, part=part.name)
    if any(method.remove_first for method in methods):
        routes.of(part.agreed_finish, part.material, FinishRoute.Direction.REMOVE, part=part.name)
    return stretch(part, Step.Origin.FINISH, methods, finish=part.agreed_finish)


def save_laid(laid: Laid) -> list[Step]:
    """Save the steps of one stretch with their ways back."""
    steps = Step.objects.bulk_create(step for step, _method in laid)
    Step.objects.bulk_update(link_ways_back(laid), ["back_to"])
    return steps


def save_all_laid(stretches: Sequence[Laid]) -> None:
    """Save the steps of many stretches with their ways back, in a few statements.

    What a way back leads to is saved before what goes back to it, so that no step has to be written twice.
    """
    waiting = [step for laid in stretches for step, _method in laid]
    for laid in stretches:
        link_ways_back(laid)
    while waiting:
        ready = [step for step in waiting if step.back_to is None or step.back_to.pk is not None]
        Step.objects.bulk_create(ready)
        waiting = [step for step in waiting if step.pk is None]


def link_ways_back(laid: Sequence[tuple[Step, MethodStep]]) -> list[Step]:
    """Set ``back_to`` of the steps of one stretch; gives back those that changed."""
    by_position = {method.position: step for step, method in laid}
    changed = []
    for step, method in laid:
        if method.back_to is not None and method.back_to != method.position:
            step.back_to = by_position.get(method.back_to)
            changed.append(step)
    return changed


def works_of(methods: Sequence[MethodStep]) -> list[tuple[str, str]]:
    """The (kind, uid) of each work of a route, as the engine names them."""
    return [("service" if isinstance(m.work, Service) else "operation", str(m.work.uid)) for m in methods]
