"""A small workshop for tests. Invented; its figures are round so that a person can check them."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from quotes.engine.inputs import Break, PaymentStage
from quotes.pricing.models import Draft
from quotes.pricing.services import open_draft
from shop.methods.models import (
    Consumable,
    Finish,
    FinishRoute,
    FinishStep,
    Operation,
    Service,
    StandardTime,
    Usage,
    Vendor,
)
from shop.people.models import Grade, Shop
from shop.rates.services import (
    note_consumable_price,
    note_grade_rate,
    note_policy,
    note_service_price,
    note_tax_rate,
)
from shop.restorations.models import Part, Restoration
from shop.restorations.services import add_customer, add_machine, begin
from shop.routes.parts import add_routed_part

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
TODAY = date(2026, 3, 2)
SINCE = date(2026, 1, 1)
WHO: dict[str, Any] = {"who": "ada", "now": NOW}


@dataclass
class Workshop:
    """What the tests name."""

    grade: Grade
    blast: Operation
    spray: Operation
    strip: Operation
    fit: Operation
    plate: Service
    paint: Consumable
    black: Finish
    green: Finish
    zinc: Finish


def workshop() -> Workshop:
    """Grades, three operations, a vendor's service, two finishes with routes, and rates in force."""
    Shop.objects.create(name="Hollow Lane Works", address="1 Hollow Lane")
    grade = Grade.objects.create(name="mechanic")
    note_grade_rate(grade=grade, valid_from=SINCE, cost_rate=Decimal(30), charge_rate=Decimal(60), **WHO)
    blast, spray, strip, fit = (
        _operation(grade, *times)
        for times in (
            ("Blast", "dm2", 12, "0.5"),
            ("Spray", "dm2", 30, "0.4"),
            ("Strip a coat", "dm2", 6, "1"),
            ("Fit", "piece", 0, "15"),
        )
    )
    paint = Consumable.objects.create(name="Enamel", unit="l", by="film", solids=50, smallest_mix=Decimal("0.1"))
    note_consumable_price(consumable=paint, valid_from=SINCE, pack_size=Decimal(1), pack_price=Decimal(40), **WHO)
    Usage.objects.create(operation=spray, consumable=paint, film=50, transfer=50)
    plater = Vendor.objects.create(name="Brook Platers")
    plate = Service.objects.create(vendor=plater, name="Zinc plate", measure="kg", plates=True)
    note_service_price(
        service=plate,
        valid_from=SINCE,
        breaks=[Break(Decimal(0), Decimal(8)), Break(Decimal(10), Decimal(6))],
        minimum=Decimal(50),
        handling_grade=grade,
        **WHO,
    )
    black, green, zinc = (
        Finish.objects.create(name=name, colour=name, process=process, swatch=swatch)
        for name, process, swatch in (
            ("Black", "paint", "#111111"),
            ("Green", "paint", "#225533"),
            ("Zinc", "plating", ""),
        )
    )
    for finish in (black, green):
        _route(finish, FinishRoute.Direction.APPLY, [(blast, 0, False), (spray, 10, True)])
        _route(finish, FinishRoute.Direction.REMOVE, [(strip, 0, False)])
    _route(zinc, FinishRoute.Direction.APPLY, [(plate, 0, False)])
    note_tax_rate(code="standard", name="VAT", percent=Decimal(20), valid_from=SINCE, **WHO)
    note_policy(
        valid_from=SINCE,
        price_by="margin",
        labour_margin=Decimal(40),
        overhead_margin=Decimal(0),
        material_margin=Decimal(25),
        vendor_margin=Decimal(20),
        bought_in_margin=Decimal(20),
        floor=Decimal(10),
        overhead_by="hours",
        overhead_rate=Decimal(12),
        validity_days=30,
        assumptions="Parts fit as they came.\nThe bike is complete.",
        handling_grade=grade,
        stages=[
            PaymentStage("Deposit", Decimal(30), "on order"),
            PaymentStage("Balance", Decimal(70), "at hand-over"),
        ],
        **WHO,
    )
    return Workshop(grade, blast, spray, strip, fit, plate, paint, black, green, zinc)


def _operation(grade: Grade, name: str, measure: str, setup: int, run: str) -> Operation:
    operation = Operation.objects.create(name=name, measure=measure, grade=grade)
    StandardTime.objects.create(operation=operation, valid_from=SINCE, setup=setup, run=Decimal(run))
    return operation


def _route(finish: Finish, direction: str, works: list[tuple[Operation | Service, int, bool]]) -> None:
    route = FinishRoute.objects.create(finish=finish, material="steel", direction=direction)
    for position, (work, chance, remove_first) in enumerate(works, start=1):
        kind = {"operation": work} if isinstance(work, Operation) else {"service": work}
        FinishStep.objects.create(
            route=route,
            position=position,
            fail_chance=chance,
            back_to=1 if remove_first else None,
            remove_first=remove_first,
            **kind,
        )


def restoration(title: str = "Heron 250") -> Restoration:
    """A restoration without parts."""
    customer = add_customer(name="Jo Fenwick", **WHO)
    machine = add_machine(maker="Heron", model="250", year=1957, frame_number="H1234", **WHO)
    return begin(customer=customer, machine=machine, title=title, begun_on=TODAY, **WHO)


def frame(of: Restoration, shop: Workshop, **fields: Any) -> Part:
    """A frame of 60 dm² in black."""
    given = {"name": "Frame", "area_name": "Frame", "pieces": 1, "area": Decimal(60), "weight": Decimal(14)} | fields
    return add_routed_part(restoration=of, finish=given.pop("finish", shop.black), **given, **WHO)


def draft(of: Restoration) -> Draft:
    """Its draft, priced today."""
    return open_draft(restoration=of, today=TODAY, **WHO)
