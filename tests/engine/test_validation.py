"""What cannot be priced is refused with its place, its field and a sentence that says what to do."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import pytest

from quotes.engine import inputs
from quotes.engine.errors import BadInput
from quotes.engine.inputs import By, Measure, PaymentStage, Remedy, TaxRate, Usage, Work
from tests.engine.build import (
    back,
    consumable,
    grade,
    operation,
    part,
    policy,
    priced,
    purchase,
    refused,
    service,
    step,
)

D = Decimal


@dataclass(frozen=True)
class Case:
    """A restoration of one part with one thing wrong, and what must be said about it."""

    field: str
    sentence: str
    step: str = ""
    part: str = ""
    frame: inputs.Part | None = None
    changes: tuple[tuple[str, Any], ...] = ()


def catalogue(field: str, sentence: str, where: str, **changes: Any) -> Case:
    return Case(field, sentence, where, changes=tuple(changes.items()))


def on_frame(field: str, sentence: str, *steps: inputs.Step, at: str = "", **changes: Any) -> Case:
    more = {key: changes.pop(key) for key in tuple(changes) if key in inputs.Restoration.__slots__}
    frame = part("f", *(steps or (step("coat"),)), **({"name": "Frame"} | changes))
    return Case(field, sentence, at, "Frame", frame, tuple(more.items()))


def by(work: Any) -> dict[str, Any]:
    """The one catalogue entry a case is about."""
    groups = {
        inputs.Operation: "operations",
        inputs.Grade: "grades",
        inputs.Consumable: "consumables",
        inputs.Service: "services",
        inputs.Purchase: "purchases",
    }
    return {groups[type(work)]: (work,)}


LESS = D("-0.1")
NEGATIVE = {
    "set-up": ("setup", "The set-up time is negative. Give 0 or more minutes.", operation(setup=LESS)),
    "run": ("run", "The run time is negative. Give 0 or more minutes.", operation(run=LESS)),
    "allowance": ("allowance", "The allowance is negative. Give 0 or more.", operation(allowance=LESS)),
    "elapsed": ("elapsed", "The elapsed time is negative. Give 0 or more minutes.", operation(elapsed=LESS)),
    "capacity": (
        "capacity",
        "The capacity of the place is negative. Give 0 for no limit, or more.",
        operation(capacity=LESS),
    ),
    "shop factor": ("shop_factor", "The shop factor must be more than 0.", operation(shop_factor=D(0))),
    "cost rate": ("cost_rate", "The cost rate is negative. Give 0 or more.", grade(cost_rate=LESS)),
    "charge-out rate": ("charge_rate", "The charge-out rate is negative. Give 0 or more.", grade(charge_rate=LESS)),
    "pace": ("pace", "The pace must be more than 0.", grade(pace=D(0))),
    "lot charge": ("lot_charge", "The lot charge is negative. Give 0 or more.", service(lot_charge=LESS)),
    "minimum": ("minimum", "The minimum is negative. Give 0 or more.", service(minimum=LESS)),
    "trip": ("trip", "The trip cost is negative. Give 0 or more.", service(trip=LESS)),
    "trip share": ("trip_share", "The share of the trip is negative. Give 0 or more.", service(trip_share=LESS)),
    "lot handling": ("handling", "The handling time is negative. Give 0 or more minutes.", service(handling=LESS)),
    "unit price": ("unit_price", "The price is negative. Give 0 or more.", purchase(unit_price=LESS)),
    "handling": ("handling", "The handling time is negative. Give 0 or more minutes.", purchase(handling=LESS)),
    "pack price": ("pack_price", "The price of a pack is negative. Give 0 or more.", consumable(pack_price=LESS)),
    "smallest mix": ("smallest_mix", "The smallest mix is negative. Give 0 or more.", consumable(smallest_mix=LESS)),
    "pack size": ("pack_size", "The pack size must be more than 0.", consumable(pack_size=D(0))),
    "no solids": (
        "solids",
        "The volume solids must be more than 0 % and at most 100 %.",
        consumable(by=By.FILM, solids=D(0)),
    ),
    "too many solids": (
        "solids",
        "The volume solids must be more than 0 % and at most 100 %.",
        consumable(by=By.FILM, solids=D(101)),
    ),
    "no density": ("density", "The density must be more than 0 g/cm³.", consumable(by=By.POWDER)),
    "usage of nothing known": (
        "usages",
        "It uses a consumable that has no price yet.",
        operation(usages=(Usage("gone"),)),
    ),
    "negative usage": ("usages", "A usage is negative. Give 0 or more.", operation(usages=(Usage("paint", LESS),))),
    "negative waste": (
        "usages",
        "A usage is negative. Give 0 or more.",
        operation(usages=(Usage("paint", waste=LESS),)),
    ),
    "nothing arrives": (
        "transfer",
        "The transfer efficiency must be more than 0 % and at most 100 %.",
        operation(usages=(Usage("paint", transfer=D(0)),)),
    ),
    "more arrives than is sprayed": (
        "transfer",
        "The transfer efficiency must be more than 0 % and at most 100 %.",
        operation(usages=(Usage("paint", transfer=D("1.1")),)),
    ),
    "filled by the hour": (
        "capacity_by",
        "Its place is filled by the hour, its time is not. Choose what the parts fill: pieces, dm², kg.",
        operation(capacity=D(1), capacity_by=Measure.HOUR),
    ),
    "no price table": (
        "breaks",
        "The price table is empty. Give the rate from quantity 0 on.",
        service(rates=()),
    ),
    "price table from 1": ("breaks", "The first price break must begin at 0.", service(rates=((1, 2),))),
    "price table out of order": (
        "breaks",
        "The price breaks are out of order: 5 comes after 9. Put the quantities in rising order.",
        service(rates=((0, 3), (9, 2), (5, 1))),
    ),
    "price table below nothing": ("breaks", "A price break has a negative rate.", service(rates=((0, -1),))),
}

POLICY = {
    "currency": (
        {"currency": "XYZ"},
        "currency",
        "'XYZ' is not a currency with minor units in ISO 4217. Give a code such as EUR.",
    ),
    **{
        name: ({name: D(1)}, name, "A margin of 100 % leaves no price. Give less than 100 %.")
        for name in (
            "labour_margin",
            "overhead_margin",
            "material_margin",
            "vendor_margin",
            "bought_in_margin",
            "floor",
        )
    },
    "mixed share": (
        {"mixed_share": D(1)},
        "mixed_share",
        "The share of mixed batches must be from 0 to less than 1.",
    ),
    "overhead rate": ({"overhead_rate": LESS}, "overhead_rate", "The overhead rate is negative. Give 0 or more."),
    "handling rate": ({"handling_rate": LESS}, "handling_rate", "The handling rate is negative. Give 0 or more."),
    "rounding": (
        {"rounding": "up"},
        "rounding",
        "There is no rounding up. Choose half up or half down.",
    ),
    "stages": (
        {"stages": (PaymentStage("all", D(90), "now"),)},
        "payment stages",
        "The payment stages add up to 90 %. Make them add up to 100 %.",
    ),
    "negative stage": (
        {"stages": (PaymentStage("more", D(110), "now"), PaymentStage("back", D(-10), "then"))},
        "payment stages",
        "A payment stage cannot be negative.",
    ),
}

NO_PRICE = "It has no price or no time yet. Add one."
NO_RATE = "Nobody's rate is known for its labour. Choose a labour grade that has a rate."
FRAME = {
    "pieces": on_frame("pieces", "A count is negative. Give 0 or more.", pieces=-1),
    "openings": on_frame("openings", "A count is negative. Give 0 or more.", openings=-1),
    "spokes": on_frame("spokes", "A count is negative. Give 0 or more.", spokes=-1),
    "area": on_frame("area", "A size is negative. Give 0 or more.", area=LESS),
    "weight": on_frame("weight", "A size is negative. Give 0 or more.", weight=LESS),
    "tax": on_frame("tax", "There is no tax rate for luxury. Add one.", tax="luxury"),
    "quantity": on_frame("quantity", "A quantity is negative. Give 0 or more.", step("coat", quantity=LESS), at="coat"),
    "condition factor": on_frame(
        "factor", "The condition factor is negative. Give 0 or more.", step("coat", factor=LESS), at="coat"
    ),
    "hours": on_frame(
        "quantity",
        "Give the hours for this step.",
        at="coat",
        operations=(operation(measure=Measure.HOUR),),
    ),
    "no time": on_frame("ref", NO_PRICE, step("coat", ref="gone"), at="coat"),
    "no vendor price": on_frame("ref", NO_PRICE, step("send", ref="gone", work=Work.SERVICE), at="send"),
    "no price to buy at": on_frame("ref", NO_PRICE, step("buy", ref="gone", work=Work.PURCHASE), at="buy"),
    "no price of a remedy": on_frame(
        "ref",
        NO_PRICE,
        step("coat", ways_back=(back("0.1", "coat", Remedy(Work.OPERATION, "gone")),)),
        at="coat",
    ),
    "no rate for the work": on_frame("grade", NO_RATE, at="coat", grades=()),
    "no rate for handling a lot": on_frame(
        "grade",
        NO_RATE,
        step("send", ref="zinc", work=Work.SERVICE),
        at="send",
        services=(service(handling=D(5)),),
    ),
    "no rate for handling a bought-in part": on_frame(
        "grade",
        NO_RATE,
        step("buy", ref="bearing", work=Work.PURCHASE),
        at="buy",
        purchases=(purchase(handling=D(5)),),
    ),
    "no chance at all": on_frame(
        "chance",
        "The chance of failing is 1: this step would never be done. Give less than 1.",
        step("coat", ways_back=(back(1, "coat"),)),
        at="coat",
    ),
    "negative chance": on_frame(
        "chance",
        "The chance of failing is -0.1. Give 0 or more.",
        step("coat", ways_back=(back("-0.1", "coat"),)),
        at="coat",
    ),
    "chances that leave no success": on_frame(
        "chance",
        "The chances of failing add up to 1.2: this step would never be done. Make them less than 1 together.",
        step("coat", ways_back=(back("0.6", "coat"), back("0.6", "coat"))),
        at="coat",
    ),
    "back to a later step": on_frame(
        "back to",
        "A failed step sends the part back to a later step. Choose this step or an earlier one.",
        step("blast", ways_back=(back("0.1", "coat"),)),
        step("coat"),
        at="blast",
    ),
    "back to nowhere": on_frame(
        "back to",
        "A failed step sends the part back to a step that is not on its route.",
        step("coat", ways_back=(back("0.1", "gone"),)),
        at="coat",
    ),
    "replacement": on_frame(
        "replacement",
        "The price of a replacement is negative. Give 0 or more.",
        step("coat", ways_back=(back("0.1", "coat", replacement=-1),)),
        at="coat",
    ),
    "wait for nothing": on_frame(
        "waits for",
        "It waits for a step that is not part of this restoration. Remove the wait.",
        step("coat", waits_for=("gone",)),
        at="coat",
    ),
    "step twice": on_frame("", "This step is there twice.", step("coat"), step("coat"), at="coat"),
}

CASES: dict[str, Case] = {
    **{name: catalogue(field, text, item.name, **by(item)) for name, (field, text, item) in NEGATIVE.items()},
    **{name: catalogue(field, text, "", policy=policy(**how)) for name, (how, field, text) in POLICY.items()},
    "discount": catalogue("discount", "The discount must be from 0 % to less than 100 %.", "", discount=D(1)),
    "negative discount": catalogue("discount", "The discount must be from 0 % to less than 100 %.", "", discount=LESS),
    "tax rate": catalogue(
        "rate", "The tax rate is negative. Give 0 or more.", "VAT", taxes=(TaxRate("standard", "VAT", LESS),)
    ),
    **FRAME,
}


@pytest.mark.parametrize("name", CASES)
def test_what_cannot_be_priced_is_refused_with_its_place_and_a_sentence(name: str) -> None:
    case = CASES[name]
    error = refused(case.frame or part("f", step("coat"), name="Frame"), **dict(case.changes))
    assert (error.part, error.step, error.field) == (case.part, case.step, case.field)
    where = ", ".join(filter(None, (case.part, case.step)))
    assert str(error) == (f"{where}: {case.sentence}" if where else case.sentence)


def test_a_part_given_twice_is_refused() -> None:
    error = refused(part("f", step("a"), name="Frame"), part("f", step("b"), name="Fork"))
    assert (error.part, str(error)) == ("Fork", "Fork: This part is there twice.")


def test_a_circle_of_waits_is_told_part_by_part() -> None:
    frame = part("f", step("f1", name="fit", waits_for=("t1",)), name="Frame")
    tank = part("t", step("t1", name="line up", waits_for=("f1",)), name="Tank")
    error = refused(frame, tank)
    assert error.field == "waits for"
    assert str(error) == (
        "These steps wait for each other in a circle: Frame (fit), which waits for Tank (line up), which waits for Frame "
        "(fit). Remove one of these waits."
    )


Edge = Callable[[], object]
JUST_ENOUGH: dict[str, Edge] = {
    "margin": lambda: priced(part("f", step("coat")), policy=policy(labour_margin=D("0.999"))),
    "chance": lambda: priced(part("f", step("coat", ways_back=(back("0.999", "coat"),)))),
    "chances together": lambda: priced(part("f", step("coat", ways_back=(back("0.5", "coat"), back("0.499", "coat"))))),
    "discount": lambda: priced(part("f", step("coat")), discount=D("0.99")),
    "solids": lambda: priced(part("f", step("coat")), consumables=(consumable(by=By.FILM, solids=D(100)),)),
    "mixed share": lambda: priced(part("f", step("coat")), policy=policy(mixed_share=D("0.99"))),
    "back to itself": lambda: priced(part("f", step("coat", ways_back=(back("0.1", "coat"),)))),
    "no parts": priced,
    "a part without steps": lambda: priced(part("f")),
    "place filled by the hour": lambda: priced(
        part("f", step("coat", quantity=D(3))),
        operations=(operation(measure=Measure.HOUR, capacity=D(2), capacity_by=Measure.HOUR),),
    ),
    "handling of nothing needs no grade": lambda: priced(
        part("f", step("s", ref="zinc", work=Work.SERVICE)), grades=()
    ),
}


@pytest.mark.parametrize("name", JUST_ENOUGH)
def test_what_is_just_within_the_limits_is_priced(name: str) -> None:
    JUST_ENOUGH[name]()


def test_every_sentence_of_a_refusal_fills_its_places() -> None:
    """A sentence that is translated keeps its places; one that is shown has none left."""
    for case in CASES.values():
        with pytest.raises(BadInput) as caught:
            priced(case.frame or part("f", step("coat"), name="Frame"), **dict(case.changes))
        assert "{" not in str(caught.value)
        assert caught.value.template.format(**caught.value.values) in str(caught.value)


def test_a_catalogue_entry_is_refused_even_when_no_step_uses_it() -> None:
    unused = replace(operation("unused"), run=LESS)
    assert refused(part("f", step("coat")), operations=(operation(), unused)).step == "unused"
