"""Offers without a database: one as a workshop would write it, and any number at random. All names are invented."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import pairwise
from random import Random

from quotes.engine import inputs
from quotes.engine.money import instalments, places, rounded
from quotes.engine.rollup import price
from quotes.pricing.models import Draft
from quotes.pricing.offer import Offer, OfferArea, OfferLine, OfferStage, OfferTax, build
from shop.restorations.models import Customer, Machine, Part, Restoration
from shop.routes.laying import Routes
from shop.routes.models import Step
from shop.routes.selectors import Scope

BLACK = ("Black stove enamel", "#17181a")
LINED = ("Tank: claret with gold lining (full gloss, 3 mm double line)", "#5a1620")
CADMIUM = ("Dull nickel", "#9a958a")
CHROME = ("Decorative chrome", "#cfd4d6")
ZINC = ("Bright zinc", "#b9bfc2")
RAW = ("Polished aluminium", "#c9cbca")
RIM = ("Chrome, centre enamelled in claret and lined in gold", "#5a1620")
CAST = ("Aluminium, vapour blasted as cast", "#b4b6b4")
NONE = ("", "")

COAT = ("Blast", "Mask", "Coat in black", "Bake")
RIM_WORK = ("Chrome plating", "Coat in claret", "Line in gold")
TANK_WORK = ("Vent and rinse", "Pressure test", "Solder seams", "Blast gently", "Fill", "Prime", "Coat in claret")
TANK_WORK += ("Line in gold", "Clear coat")

AREAS: dict[str, list[tuple[str, int, int, tuple[str, str], tuple[str, ...], str]]] = {
    "Frame and stands": [
        ("Frame", 0, 1, BLACK, ("Strip", "Crack test", "Straighten", *COAT[1:]), "210.00"),
        ("Steering head cups", 1, 2, NONE, ("Press out", "Press in new"), "46.50"),
        ("Swinging stand", 0, 1, BLACK, COAT, ""),
        ("Stand spring", 1, 1, ZINC, ("Replace",), ""),
        ("Side stand", 0, 1, BLACK, COAT, ""),
        ("Tool tray", 0, 1, BLACK, COAT, ""),
        ("Footrests", 0, 2, BLACK, (*COAT, "Fit new rubbers"), ""),
        ("Pillion footrests", 0, 2, BLACK, COAT, ""),
        ("Chainguard, upper", 0, 1, BLACK, (*COAT, "Dress dents"), ""),
        ("Chainguard, lower", 0, 1, BLACK, COAT, ""),
    ],
    "Forks and steering": [
        ("Girder forks", 0, 1, BLACK, ("Crack test", *COAT), "212.00"),
        ("Fork links", 1, 4, BLACK, (*COAT, "Ream new bushes"), ""),
        ("Fork spindles", 1, 4, CADMIUM, ("Regrind", "Nickel plating", "Bake after plating"), ""),
        ("Fork spring", 1, 1, BLACK, ("Blast gently", "Coat in black", "Bake"), ""),
        ("Friction damper discs", 1, 6, NONE, ("Replace",), ""),
        ("Handlebar", 0, 1, CHROME, ("Straighten", "Polish", "Chrome plating"), ""),
        ("Levers", 0, 2, CHROME, ("Polish", "Chrome plating"), ""),
        ("Control cables", 0, 5, NONE, ("Make up new",), ""),
        ("Twist grip", 0, 1, CHROME, ("Polish", "Chrome plating"), ""),
    ],
    "Wheels and brakes": [
        ("Front rim", 0, 1, RIM, RIM_WORK, ""),
        ("Rear rim", 0, 1, RIM, RIM_WORK, ""),
        ("Spokes and nipples, front", 0, 40, ("Stainless steel, unpolished", "#a9adae"), ("Lace and true",), ""),
        ("Spokes and nipples, rear", 0, 40, ("Stainless steel, unpolished", "#a9adae"), ("Lace and true",), ""),
        ("Front hub", 0, 1, BLACK, (*COAT, "Fit new bearings"), ""),
        ("Rear hub", 0, 1, BLACK, (*COAT, "Fit new bearings"), ""),
        ("Brake plates", 0, 2, RAW, ("Vapour blast", "Polish"), ""),
        ("Brake shoes", 1, 4, NONE, ("Reline", "Turn to the drum"), ""),
        ("Wheel spindles", 1, 2, CADMIUM, ("Nickel plating", "Bake after plating"), ""),
        ("Tyres and tubes", 0, 2, NONE, ("Fit",), ""),
    ],
    "Engine": [
        ("Crankcase halves", 0, 2, CAST, ("Vapour blast", "Wash oilways", "Fit new main bearings"), ""),
        ("Flywheels", 1, 2, NONE, ("Part", "Fit new big end", "True"), ""),
        ("Connecting rod", 1, 1, NONE, ("Crack test", "Bush", "Ream"), ""),
        ("Piston and rings", 1, 1, NONE, ("Fit",), ""),
        ("Cylinder barrel", 0, 1, BLACK, ("Rebore", "Coat in black", "Bake"), ""),
        ("Cylinder head", 0, 1, CAST, ("Vapour blast", "Cut valve seats", "Fit new guides"), ""),
        ("Valves", 1, 2, NONE, ("Grind in",), ""),
        ("Valve springs", 1, 4, NONE, ("Replace",), ""),
        ("Rocker box", 0, 1, RAW, ("Polish", "Bush"), ""),
        ("Pushrod tubes", 1, 2, CHROME, ("Polish", "Chrome plating"), ""),
        ("Timing cover", 0, 1, RAW, ("Polish",), ""),
        ("Oil pump", 0, 1, NONE, ("Strip", "Check", "Set clearance"), ""),
        ("Carburettor", 0, 1, ("Zinc alloy, cleaned, not plated", "#8f9494"), ("Clean", "Sleeve the body", "New jets"), ""),
        ("Exhaust pipe", 0, 1, CHROME, ("Chrome plating",), ""),
        ("Silencer", 0, 1, CHROME, ("Buy reproduction", "Fit"), ""),
    ],
    "Gearbox and clutch": [
        ("Gearbox shell", 0, 1, CAST, ("Vapour blast", "Fit new bearings"), ""),
        ("Gear cluster", 1, 1, NONE, ("Check teeth", "Bush"), ""),
        ("Kick-starter and spring", 1, 1, CHROME, ("Polish", "Chrome plating", "Bake after plating"), ""),
        ("Clutch plates", 1, 9, NONE, ("Reline",), ""),
        ("Clutch springs", 1, 5, NONE, ("Replace",), ""),
        ("Primary chaincase", 0, 1, BLACK, COAT, ""),
        ("Chains", 0, 2, NONE, ("Replace",), ""),
        ("Sprockets", 0, 3, NONE, ("Replace",), ""),
        ("Gear change lever", 0, 1, CHROME, ("Polish", "Chrome plating"), ""),
    ],
    "Tank and tinware": [
        ("Petrol tank", 0, 1, LINED, TANK_WORK, "930.00"),
        ("Tank badges", 1, 2, NONE, ("Re-enamel",), ""),
        ("Filler cap", 1, 1, CHROME, ("Polish", "Chrome plating"), ""),
        ("Petrol taps", 1, 2, CHROME, ("New corks", "Chrome plating"), ""),
        ("Oil tank", 0, 1, BLACK, COAT, ""),
        ("Front mudguard", 0, 1, BLACK, ("Dress dents", *COAT), ""),
        ("Front mudguard stays", 1, 4, BLACK, COAT, ""),
        ("Rear mudguard", 0, 1, BLACK, ("Let in new metal", *COAT), ""),
        ("Rear mudguard stays", 1, 4, BLACK, COAT, ""),
        ("Rear carrier", 0, 1, BLACK, COAT, ""),
        ("Number plates", 0, 2, BLACK, (*COAT, "Letter by hand"), ""),
        ("Saddle", 0, 1, NONE, ("Re-cover in leather",), ""),
        ("Saddle springs", 1, 2, BLACK, ("Coat in black", "Bake"), ""),
        ("Toolbox", 0, 1, BLACK, (*COAT, "New lock"), ""),
        ("Battery carrier", 0, 1, BLACK, ("Neutralise acid", *COAT), ""),
    ],
    "Electrics and instruments": [
        ("Magneto", 0, 1, NONE, ("Rewind", "New bearings", "Test hot"), ""),
        ("Dynamo", 0, 1, NONE, ("Rewind", "New brushes"), ""),
        ("Headlamp shell", 0, 1, BLACK, COAT, ""),
        ("Headlamp rim", 1, 1, CHROME, ("Polish", "Chrome plating"), ""),
        ("Headlamp reflector", 1, 1, ("Silver plate", "#dfe3e4"), ("Silver plating",), ""),
        ("Rear lamp", 0, 1, BLACK, COAT, ""),
        ("Ammeter", 0, 1, NONE, ("Repair",), ""),
        ("Speedometer", 0, 1, NONE, ("Repair", "New face"), ""),
        ("Speedometer drive", 1, 1, NONE, ("Check",), ""),
        ("Horn", 0, 1, BLACK, ("Repair", *COAT), ""),
        ("Wiring loom", 0, 1, NONE, ("Make up new",), ""),
        ("Dip switch", 0, 1, CHROME, ("Repair", "Chrome plating"), ""),
    ],
    "Fasteners": [
        ("Bolts, nuts and studs, frame", 0, 120, CADMIUM, ("Sort", "Degrease", "Nickel plating"), ""),
        ("Bolts, nuts and studs, engine", 0, 90, CADMIUM, ("Sort", "Degrease", "Nickel plating"), ""),
        ("Washers and clips", 0, 150, ZINC, ("Sort", "Zinc plating"), ""),
        ("Screws, cheese head", 0, 60, CADMIUM, ("Sort", "Nickel plating"), ""),
        ("Grease nipples", 0, 14, NONE, ("Replace",), ""),
        ("Split pins and wire", 0, 1, NONE, ("Replace",), ""),
        ("Rubbers and grommets", 0, 22, NONE, ("Replace",), ""),
        ("Gaskets", 0, 1, NONE, ("Cut new",), ""),
        ("Felt and cork seals", 0, 8, NONE, ("Cut new",), ""),
        ("Transfers", 0, 5, ("Varnish-fix, as the maker's", "#c79a34"), ("Apply", "Clear coat"), ""),
    ],
}  # fmt: skip

DEVIATIONS = {
    "Footrests": "powder coat stands in for stove enamel",
    "Spokes and nipples, front": "stainless steel in place of dull nickel, at the customer's wish",
    "Spokes and nipples, rear": "stainless steel in place of dull nickel, at the customer's wish",
    "Petrol tank": "two-pack clear coat over the lining, which the factory did not have",
}


def _areas() -> Iterator[OfferArea]:
    number = 0
    for area, rows in AREAS.items():
        lines = []
        for part, depth, pieces, (finish, swatch), work, given in rows:
            number += 1
            amount = Decimal(given) if given else Decimal(3 + (number * 7919) % 41_000) / 100 + 12
            lines.append(OfferLine(part, depth, pieces, finish, swatch, DEVIATIONS.get(part, ""), work, amount))
        yield OfferArea(area, tuple(lines))


def realistic() -> Offer:
    """Ninety lines for a single of the thirties, with a discount and four payment stages."""
    areas = tuple(_areas())
    return with_sums(
        Offer(
            number="Q00042",
            version=2,
            issued_on="2026-03-02",
            valid_until="2026-04-01",
            currency="GBP",
            shop="Low Mill Motorcycle Restorations",
            shop_address="The Old Dye House, Weir Lane\nHebbleford HX9 4QT",
            shop_contact="01632 960 118 · desk@lowmill.example",
            customer="Margaret Ashgrove-Tyndall",
            customer_address="Pear Tree Cottage\n7 Church Bank, Thornley-under-Edge\nSK99 3LD",
            machine="Thorncastle Sovereign 500 1937",
            frame_number="TS 37 1184",
            engine_number="S5 / 2260 K",
            title="Thorncastle Sovereign 500, as it left the works in 1937",
            note="Thank you for bringing her in. The tank and the rims are priced for the claret you chose from our chips; "
            "black would be as below less the lining.",
            areas=areas,
            price=Decimal(0),
            discount=Decimal(0),
            net=Decimal(0),
            taxes=(),
            total=Decimal(0),
            stages=(),
            assumptions=(
                "The bike is complete apart from the battery; missing parts found at strip-down are quoted on their own.",
                "Crankcase and gearbox shell have no cracks. What strip-down finds is put before you before we go on.",
                "Finishes are matched to the chips signed on 14 February 2026.",
            ),
            cautions=(
                "A restored vehicle is used at the rider's own risk. Brakes, steering, frame and tyres have to be inspected "
                "by a qualified person before it is ridden, as the law of the place asks.",
                "This quote is not an approval of the vehicle for the road, and it does not replace an inspection.",
                "Plated steel of high strength can break without warning. Such parts are baked after plating or finished in "
                "another way; baking lowers that danger and does not end it.",
            ),
            record="1284:9f2c1f7d60b54ef0a3d8be1c5720c6e1d4a6f3908b7752ee41c09ad35e6f8b21",
        )
    )


def with_sums(
    offer: Offer, *, discount: Decimal = Decimal("2.5"), percent: Decimal = Decimal(20), shares: str = "25 35 30 10"
) -> Offer:
    """The offer with its sums worked out from its lines and credits: ``discount`` and tax ``percent`` [%], payment ``shares`` [%]."""
    digits = places(offer.currency)
    price = sum((area.price for area in offer.areas), Decimal(0))
    off = rounded(price * discount / 100, digits=digits)
    price -= offer.credited
    net = price - off
    tax = rounded(net * percent / 100, digits=digits)
    due = instalments(net + tax, [Decimal(share) for share in shares.split()], digits=digits)
    words = [
        ("Deposit", "on acceptance"),
        ("Second stage", "when the parts are back from plating"),
        ("Third stage", "when the rolling chassis stands"),
        ("Balance", "on handing over"),
    ]
    stages = [OfferStage(name, when, amount) for (name, when), amount in zip(words, due, strict=False)]
    return replace(
        offer,
        price=price,
        discount=off,
        net=net,
        taxes=(OfferTax("VAT", percent, net, tax),),
        total=net + tax,
        stages=tuple(stages),
    )


def three_pages() -> Offer:
    """The first four areas, which take three pages."""
    offer = realistic()
    return with_sums(replace(offer, areas=offer.areas[:4]))


def awkward() -> Offer:
    """What people really type: long words, other scripts, nothing at all."""
    long = "Kraftstoffbehälterverschlussdeckeldichtungsring" * 3
    arabic, hebrew, emoji, thai = "خزان الوقود الأسود", "מיכל דלק שחור", "🏍️ tank 🔧✨", "ถังน้ำมัน"
    finish = "Black enamel " * 14
    lines = (
        OfferLine(long, 0, 1, finish, "#000000", "deviates " * 20, ("Blast",) * 3 + (long,), Decimal(123456789)),
        OfferLine(arabic, 1, 2, hebrew, "#ffffff", arabic, (hebrew, arabic), Decimal(5)),
        OfferLine(emoji, 7, 1, emoji, "nochip", thai, (), Decimal(0)),
        OfferLine(
            "<b>Bold</b> & \"quotes\" 'n' {{ braces }}",
            0,
            0,
            "",
            "",
            "",
            ("</td><script>alert(1)</script>",),
            Decimal(7),
        ),
        OfferLine(
            "x\u202egnp.exe\u0301\u0301\u0301", 0, 1, "line\nbreak", "#12345", "tab\there", ("a\u0000b",), Decimal(70)
        ),
    )
    lots = tuple(
        OfferArea(f"Area {n} {long if n == 3 else ''}", (OfferLine(f"Part {n}", 0, 1, "", "", "", (), Decimal(n)),))
        for n in range(1, 20)
    )
    return replace(
        with_sums(
            replace(
                realistic(),
                currency="JPY",
                customer_address="",
                shop_address="",
                shop_contact="",
                frame_number="",
                engine_number="",
                customer=long,
                title=long + " " + arabic,
                note="First.\n\nSecond " + arabic + "\n<img src=x onerror=alert(1)>",
                areas=(OfferArea(arabic, lines), *lots),
                assumptions=(),
            ),
            discount=Decimal(0),
            percent=Decimal("8.875"),
        ),
        stages=(),
        record="",
    )


# -- at random, by way of the engine and the builder --------------------------------------------------------------

CURRENCIES = ["EUR", "GBP", "CHF", "SEK", "JPY", "KWD"]
LANGUAGES = ["en-gb", "de", "fr", "sv"]
SYLLABLES = ["bra", "cket", "spin", "dle", "hub", "lever", "stay", "cap", "shell", "cover"]


def at_random(chance: Random) -> Offer:
    """An offer of one to forty lines in any currency, with or without discount, several tax rates and stages."""
    currency = chance.choice(CURRENCIES)
    codes = chance.sample(["standard", "reduced", "none"], chance.randint(1, 3))
    parts = [_part(chance, codes, number) for number in range(chance.randint(1, 40))]
    result = price(_restoration(chance, currency, codes, parts)).result
    scope = Scope(RESTORATION, parts, {part.pk: [Step(buy="Nothing else")] for part in parts}, {}, {}, Routes())
    return build(
        number="Q00007",
        version=1,
        issued_on=date(2026, 3, 2),
        valid_until=date(2026, 4, 1),
        currency=currency,
        shop=None,
        draft=Draft(note=""),
        scope=scope,
        result=result,
        assumptions="",
        record="",
    )


CUSTOMER, MACHINE = Customer(name="Margaret Ashgrove"), Machine(maker="Thorncastle", model="Sovereign")
RESTORATION = Restoration(customer=CUSTOMER, machine=MACHINE, title="Sovereign")


def _part(chance: Random, codes: list[str], number: int) -> Part:
    name = "".join(chance.choices(SYLLABLES, k=chance.randint(1, 9))).capitalize()
    area = chance.choice(["Frame", "Wheels", "Engine", ""])
    return Part(pk=number + 1, name=name, area_name=area, pieces=chance.randint(1, 9), tax=chance.choice(codes))


def _restoration(chance: Random, currency: str, codes: list[str], parts: list[Part]) -> inputs.Restoration:
    items = tuple(
        inputs.Purchase(str(part.uid), part.name, "used", Decimal(chance.randint(0, 10 ** chance.randint(1, 8))) / 1000)
        for part in parts
    )
    margins = dict.fromkeys(("labour", "overhead", "material", "vendor", "bought_in"), Decimal(0))
    margins["bought_in"] = Decimal(chance.randint(0, 95)) / 100
    policy = inputs.Policy(
        currency=currency,
        price_by=inputs.PriceBy.MARGIN,
        floor=Decimal(0),
        overhead_by=inputs.OverheadBy.HOURS,
        overhead_rate=Decimal(0),
        handling_rate=Decimal(0),
        tax_by=chance.choice(list(inputs.TaxBy)),
        rounding=chance.choice(["half_up", "half_down"]),
        stages=_stages(chance),
        **{f"{name}_margin": share for name, share in margins.items()},
    )
    return inputs.Restoration(
        title="At random",
        priced_on="2026-03-02",
        policy=policy,
        taxes=tuple(inputs.TaxRate(code, code.title(), Decimal(chance.randint(0, 27_500)) / 100_000) for code in codes),
        grades=(),
        consumables=(),
        operations=(),
        services=(),
        purchases=items,
        parts=tuple(
            inputs.Part(
                uid=str(part.uid),
                name=part.name,
                pieces=part.pieces,
                steps=(inputs.Step(f"s{part.pk}", "Buy", inputs.Work.PURCHASE, str(part.uid)),),
                tax=part.tax,
            )
            for part in parts
        ),
        discount=chance.choice([Decimal(0), Decimal(chance.randint(1, 9999)) / 10_000]),
    )


def _stages(chance: Random) -> tuple[inputs.PaymentStage, ...]:
    """Up to six stages that add up to 100 %."""
    cuts = sorted({0, 10_000, *(chance.randint(1, 9999) for _cut in range(chance.randint(0, 5)))})
    shares = [Decimal(high - low) / 100 for low, high in pairwise(cuts)]
    return tuple(inputs.PaymentStage("Stage", share, "when done") for share in shares) if chance.random() < 0.9 else ()
