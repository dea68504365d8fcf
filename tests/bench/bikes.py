"""A bike of any size to measure with: five steps for each part, as a shop has them.

Every third step can fail: coats and plating are done again, some after stripping; a bad fit sends the part back to its
coat. Two parts of three have a size class, the third is measured. Batches, a place with a limit, two-pack paint by
film, powder, filler in whole packs, a plater with price breaks.
"""

from decimal import Decimal

from quotes.engine.inputs import (
    Break,
    By,
    Consumable,
    Grade,
    Measure,
    Operation,
    OverheadBy,
    Part,
    PaymentStage,
    Policy,
    PriceBy,
    Purchase,
    Remedy,
    Restoration,
    Service,
    Step,
    TaxRate,
    Usage,
    WayBack,
    Work,
)

D = Decimal
STEPS_PER_PART = 5
GRADES = (
    Grade("mechanic", "mechanic", D(38), D(72), D(1), "rates of 2026"),
    Grade("painter", "painter", D(42), D(80), D("1.1"), "rates of 2026"),
)
STOCK = (
    Consumable("two-pack", "two-pack", "l", By.FILM, D(5), D(180), D("0.1"), solids=D(55)),
    Consumable("powder", "powder", "kg", By.POWDER, D(20), D(140), D("0.2"), density=D("1.5")),
    Consumable("grit", "grit", "kg", By.MEASURE, D(25), D(30)),
    Consumable("filler", "filler", "l", By.MEASURE, D(1), D(20), whole_packs=True),
)
OPERATIONS = (
    *(Operation(f"strip {n}", f"strip {n}", "mechanic", D(10), D(4), Measure.PIECE, D("0.12")) for n in range(6)),
    Operation(
        "blast",
        "blast",
        "mechanic",
        D(15),
        D("1.5"),
        Measure.DM2,
        D("0.12"),
        capacity=D(120),
        capacity_by=Measure.DM2,
        usages=(Usage("grit", D("0.4"), D("0.1")),),
    ),
    Operation(
        "paint",
        "paint",
        "painter",
        D(25),
        D("2.2"),
        Measure.DM2,
        D("0.12"),
        usages=(Usage("two-pack", film=D(90), transfer=D("0.45")),),
    ),
    Operation(
        "powder",
        "powder",
        "painter",
        D(25),
        D("1.2"),
        Measure.DM2,
        D("0.12"),
        capacity=D(20),
        usages=(Usage("powder", film=D(80), transfer=D("0.6")),),
    ),
    Operation("fit", "fit", "mechanic", D(5), D(12), Measure.PIECE, D("0.12"), usages=(Usage("filler", D("0.02")),)),
)
SERVICES = (
    Service(
        "zinc",
        "zinc",
        "a plater",
        Measure.KG,
        (Break(D(0), D(9)), Break(D(5), D(7))),
        D(10),
        D(40),
        D(30),
        D("0.5"),
        D(20),
        "mechanic",
    ),
)
PURCHASES = (Purchase("bearing", "bearing", "reproduction", D("12.5"), D(5), "mechanic"),)
POLICY = Policy(
    "EUR",
    PriceBy.MARGIN,
    labour_margin=D("0.3"),
    overhead_margin=D("0.3"),
    material_margin=D("0.25"),
    vendor_margin=D("0.2"),
    bought_in_margin=D("0.25"),
    floor=D("0.1"),
    overhead_by=OverheadBy.HOURS,
    overhead_rate=D(18),
    handling_rate=D("0.05"),
    stages=(PaymentStage("deposit", D(30), "now"), PaymentStage("rest", D(70), "at hand-over")),
)


def bike(steps: int) -> Restoration:
    """A bike of ``steps`` steps."""
    parts = tuple(_part(number) for number in range(steps // STEPS_PER_PART))
    tax = (TaxRate("standard", "VAT", D("0.2")),)
    return Restoration(
        "measured", "2026-01-01", POLICY, tax, GRADES, STOCK, OPERATIONS, SERVICES, PURCHASES, parts, D("0.05")
    )


def _part(number: int) -> Part:
    uid = f"part {number:05}"
    strip, clean, coat, buy, fit = (f"{uid} step {n}" for n in range(STEPS_PER_PART))
    zinc = number % 3 == 0
    remedies = (Remedy(Work.OPERATION, "blast"),) if number % 2 else ()
    return Part(
        uid,
        f"part {number}",
        1 + number % 4,
        (
            Step(strip, "strip", Work.OPERATION, f"strip {number % 6}", D("1.2")),
            Step(
                clean,
                "clean",
                Work.SERVICE if zinc else Work.OPERATION,
                "zinc" if zinc else "blast",
                ways_back=(WayBack(D("0.05"), clean),) if zinc else (),
            ),
            Step(
                coat,
                "coat",
                Work.OPERATION,
                "paint" if number % 2 else "powder",
                process="black" if number % 5 else "silver",
                ways_back=(WayBack(D("0.08"), coat, remedies),),
            ),
            Step(buy, "buy", Work.PURCHASE, "bearing"),
            Step(fit, "fit", Work.OPERATION, "fit", ways_back=(WayBack(D("0.03"), coat),) if number % 3 == 1 else ()),
        ),
        area=D(4 + number % 9),
        weight=D("0.3"),
        material="steel",
        strength=D(400),
        source=f"size class {number % 9}" if number % 3 else "",
    )
