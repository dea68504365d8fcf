"""The catalogue by key while a price is made, and what its entries say as figures: each said once."""

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from quotes.engine.canonical import text
from quotes.engine.figures import Figure, given
from quotes.engine.inputs import (
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
    Work,
)
from quotes.engine.results import Visit

Formulas = dict[str, Callable[..., Any]]
Figures = tuple[Figure, ...]
Costed = tuple[Visit, Figures]


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
    said: dict[tuple[int, ...], Figures] = field(default_factory=dict)
    shares: dict[tuple[str, Decimal], Figure] = field(default_factory=dict)
    lots: dict[tuple[str, Decimal], Figures] = field(default_factory=dict)
    alone: dict[tuple[object, ...], Costed] = field(default_factory=dict)
    same: dict[tuple[str, Decimal, str], Figure] = field(default_factory=dict)

    def says(self, item: Any, say: Callable[..., Figures], *more: Any) -> Figures:
        """What ``item`` says: ``say(book, item, *more)``, asked once. The items live as long as the book does."""
        key = (id(item), id(more[0])) if more else (id(item),)
        figures = self.said.get(key)
        if figures is None:
            self.said[key] = figures = say(self, item, *more)
        return figures

    def shared(self, name: str, value: Decimal, source: str) -> Figure:
        """A given figure without a unit that many steps have alike."""
        figure = self.same.get((name, value, source))
        if figure is None:
            self.same[name, value, source] = figure = given(name, value, "", source)
        return figure


@dataclass(slots=True)
class Member:
    """A step in its batch: how much of the work's measure it brings, and its run minutes before allowance."""

    part: Part
    step: Step
    quantity: Decimal
    run: Decimal = ZERO
    size: Figure | None = None

    @property
    def source(self) -> str:
        """Where its size comes from."""
        return self.part.source or self.part.name

    def likeness(self) -> tuple[object, ...]:
        """All that doing it alone hangs on: steps that are alike in this cost the same, and for the same reasons."""
        part, step = self.part, self.step
        if step.work is not Work.OPERATION:
            return step.work, step.ref, self.quantity
        size = (part.pieces, part.area, part.weight, part.openings, part.spokes)
        return step.ref, step.quantity, self.quantity, step.factor, size, self.source, step.source

    def sized(self, measure: Measure) -> Figure:
        """Its quantity as a figure, the same the first time and again."""
        if self.size is None:
            self.size = given("quantity", self.quantity, measure, self.source)
        return self.size


def of_grade(book: Book, grade: Grade) -> Figures:
    """Cost rate and overhead rate."""
    policy, per_hour = book.policy, f"{book.policy.currency}/h"
    unit = per_hour if policy.overhead_by is OverheadBy.HOURS else "of labour"
    return (
        given("cost rate", grade.cost_rate, per_hour, grade.source or grade.name),
        given("overhead rate", policy.overhead_rate, unit, policy.source),
    )


def of_operation(book: Book, operation: Operation) -> Figures:
    """Run time, allowance, shop factor, pace, set-up time, capacity of the place."""
    source, grade = operation.source or operation.name, book.grades[operation.grade]
    return (
        given("run time", operation.run, f"min/{operation.measure}", source),
        given("allowance", operation.allowance, "", source),
        given("shop factor", operation.shop_factor, "", source),
        given("pace", grade.pace, "", grade.source or grade.name),
        given("set-up time", operation.setup, "min/batch", source),
        given("capacity of the place", operation.capacity, operation.capacity_by, source),
    )


def of_usage(book: Book, usage: Usage, operation: Operation) -> Figures:
    """Amount and waste; or film, what the stuff is made of, and transfer efficiency."""
    item, method = book.consumables[usage.consumable], operation.source or operation.name
    if item.by is By.MEASURE:
        return (
            given("amount per measure", usage.amount, f"{item.unit}/{operation.measure}", method),
            given("waste", usage.waste, "", method),
        )
    source = item.source or item.name
    return (
        given("film", usage.film, "µm", method),
        given("volume solids", item.solids, "%", source)
        if item.by is By.FILM
        else given("density", item.density, "g/cm3", source),
        given("transfer efficiency", usage.transfer, "", method),
    )


def of_consumable(book: Book, item: Consumable) -> Figures:
    """Pack size, price of a pack, smallest mix."""
    source = item.source or item.name
    return (
        given("pack size", item.pack_size, item.unit, source),
        given("price of a pack", item.pack_price, book.policy.currency, source),
        given("smallest mix", item.smallest_mix, item.unit, source),
    )


def of_service(book: Book, service: Service) -> Figures:
    """Share of the trip, handling rate, handling time, lot charge, minimum, rates."""
    policy, source = book.policy, service.source or service.name
    currency, per_measure = policy.currency, f"{policy.currency}/{service.measure}"
    return (
        given("share of the trip", service.trip * service.trip_share, currency, source),
        given("handling rate", policy.handling_rate, "", policy.source),
        given("handling time per lot", service.handling, "min", source),
        given("lot charge", service.lot_charge, currency, source),
        given("minimum", service.minimum, currency, source),
        *(given(f"rate from {text(item.quantity)}", item.rate, per_measure, source) for item in service.breaks),
    )


def of_purchase(book: Book, purchase: Purchase) -> Figures:
    """Unit price, handling time."""
    source = purchase.source or purchase.name
    return (
        given("unit price", purchase.unit_price, book.policy.currency, source),
        given("handling time", purchase.handling, "min", source),
    )
