"""A small workshop of its own, made by the services people use. Names and figures are invented."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from quotes.engine.inputs import Break, PaymentStage
from quotes.pricing import services
from quotes.pricing.models import Draft, IssuedQuote, Outcome
from shop.methods.models import Consumable, Finish, FinishRoute, FinishStep, Operation, Place, Service, Usage, Vendor
from shop.methods.services import note_standard_time
from shop.people.models import Grade, Shop
from shop.rates import services as rates
from shop.restorations import services as restorations
from shop.restorations.models import Part, Restoration
from shop.routes import services as routes
from shop.routes.models import Step
from shop.routes.parts import add_routed_parts

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
TODAY = date(2026, 3, 2)
JANUARY = date(2026, 1, 5)
BY: dict[str, Any] = {"who": "desk", "now": NOW}
D = Decimal

POLICY: dict[str, Any] = {
    "labour_margin": D(40),
    "overhead_margin": D(10),
    "material_margin": D(30),
    "vendor_margin": D(20),
    "bought_in_margin": D(25),
    "floor": D(20),
    "handling_percent": D("3.5"),
    "validity_days": 30,
    "assumptions": "The bike is complete.\n\nNo cracks are found.",
}
STAGES = (PaymentStage("Deposit", D(30), "on acceptance"), PaymentStage("Balance", D(70), "on handing over"))


@dataclass
class Workshop:
    """What the tests reach for by name."""

    mechanic: Grade
    blast: Operation
    coat: Operation
    fit: Operation
    enamel: Consumable
    plating: Service
    black: Finish
    nickel: Finish


def workshop() -> Workshop:
    """Two finishes: black enamel of our own, and nickel from a vendor."""
    Shop.objects.create(name="Low Mill Restorations", address="Weir Lane\nHebbleford", phone="01632 960118")
    mechanic = Grade.objects.create(name="Mechanic")
    rates.note_grade_rate(grade=mechanic, valid_from=JANUARY, cost_rate=D("31.37"), charge_rate=D(52), **BY)
    cabinet = Place.objects.create(name="Blast cabinet", capacity=D(60), capacity_by="dm2")
    blast = _operation("Blast", mechanic, "dm2", setup="12", run="1.3", place=cabinet)
    coat = _operation("Coat in black", mechanic, "dm2", setup="18", run="0.9")
    fit = _operation("Fit", mechanic, "piece", setup="4", run="11")
    enamel = Consumable.objects.create(name="Black enamel", unit="l", by="film", solids=D(45))
    price = {"pack_size": D("2.5"), "pack_price": D("83.90")}
    rates.note_consumable_price(consumable=enamel, valid_from=JANUARY, **price, **BY)
    Usage.objects.create(operation=coat, consumable=enamel, film=D(70), transfer=D(55))
    plating = _plating(mechanic)
    black = _finish("Black stove enamel", "#17181a", [(blast, None, 0), (coat, None, 8)])
    nickel = _finish("Dull nickel", "#9a958a", [(blast, None, 0), (None, plating, 0)])
    rates.note_tax_rate(code="standard", name="VAT", percent=D(20), valid_from=JANUARY, **BY)
    note_policy()
    return Workshop(mechanic, blast, coat, fit, enamel, plating, black, nickel)


def _operation(name: str, grade: Grade, measure: str, *, setup: str, run: str, **fields: Any) -> Operation:
    operation = Operation.objects.create(name=name, grade=grade, measure=measure, **fields)
    note_standard_time(operation=operation, valid_from=JANUARY, setup=D(setup), run=D(run), **BY)
    return operation


def _plating(grade: Grade) -> Service:
    vendor = Vendor.objects.create(name="Quillhaven Electroplaters")
    service = Service.objects.create(name="Nickel plating", vendor=vendor, measure="kg", plates=True)
    charge = {"breaks": [Break(D(0), D("14.45")), Break(D(10), D("11.20"))], "minimum": D("38.60"), "trip": D(23)}
    rates.note_service_price(service=service, valid_from=JANUARY, handling_grade=grade, handling=D(17), **charge, **BY)
    return service


def _finish(name: str, swatch: str, works: list[tuple[Operation | None, Service | None, int]]) -> Finish:
    finish = Finish.objects.create(name=name, process="as listed", swatch=swatch)
    route = FinishRoute.objects.create(finish=finish, material="steel")
    FinishStep.objects.bulk_create(
        FinishStep(route=route, position=place, operation=operation, service=service, fail_chance=chance)
        for place, (operation, service, chance) in enumerate(works, start=1)
    )
    return finish


def note_policy(valid_from: date = JANUARY, **changes: Any) -> None:
    rates.note_policy(valid_from=valid_from, stages=STAGES, overhead_rate=D("18.73"), **(POLICY | changes), **BY)


def restoration(title: str = "Thorncastle Sovereign 500") -> Restoration:
    customer = restorations.add_customer(name="Margaret Ashgrove", address="Pear Tree Cottage\nThornley", **BY)
    machine = restorations.add_machine(
        maker="Thorncastle", model="Sovereign 500", year=1937, frame_number="TS 37 1184", engine_number="S5/2260", **BY
    )
    return restorations.begin(customer=customer, machine=machine, title=title, begun_on=JANUARY, **BY)


def add_parts(of: Restoration, shop: Workshop, count: int = 3) -> list[Part]:
    """``count`` parts, in turn enamelled, plated and bare (ten of these with something bought in), in two areas."""
    rows = [
        {
            "name": f"{('Bracket', 'Spindle', 'Bearing seat')[number % 3]} {number}",
            "area_name": "Frame" if number < count / 2 else "Wheels",
            "depth": min(number % 3, 1),
            "pieces": 1 + number % 4,
            "material": "steel",
            "area": D(3 + number % 7),
            "weight": D("0.35"),
            "strength": 400,
            "finish": (shop.black, shop.nickel, None)[number % 3],
        }
        for number in range(count)
    ]
    parts = add_routed_parts(restoration=of, rows=rows, **BY)
    for part in parts[2:30:3]:
        routes.add_step(part=part, origin=Step.Origin.BEFORE, buy="Bearing", buy_source="reproduction", **PAID, **BY)
        routes.add_step(part=part, origin=Step.Origin.AFTER, operation=shop.fit, **BY)
    return parts


PAID: dict[str, Any] = {"buy_price_minor": 1799, "buy_status": "seen"}


def draft(of: Restoration) -> Draft:
    return services.open_draft(restoration=of, today=TODAY, **BY)


def issue(of: Draft, **changes: Any) -> IssuedQuote:
    """Issue what stands there now."""
    of.refresh_from_db()
    of.restoration.refresh_from_db()
    seen = {"seen_scope": of.restoration.scope_version, "seen_draft": of.version}
    return services.issue(draft=of, **(seen | {"today": TODAY, "who": "desk", "now": NOW} | changes))


def answer(quote: IssuedQuote, kind: Outcome.Kind = Outcome.Kind.ACCEPTED, **changes: Any) -> Outcome:
    given: dict[str, Any] = {"said_by": "Margaret Ashgrove", "how": Outcome.How.SIGNED, "today": TODAY, **BY}
    return services.record_outcome(quote=quote, kind=kind, **(given | changes))
