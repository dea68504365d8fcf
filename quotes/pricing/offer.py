"""What the customer reads. Built once when a quote is issued, frozen with it, and never holding a cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _

from quotes.engine.results import Result
from quotes.pricing.models import Draft
from shop.methods.models import Finish
from shop.people.models import Shop
from shop.restorations.models import Machine, Part
from shop.routes.models import Step
from shop.routes.selectors import Scope


@dataclass(frozen=True, slots=True)
class OfferLine:
    """A part: what is done to it, how it will look, what it costs the customer. Its uid is never shown."""

    part: str
    depth: int
    pieces: int
    finish: str
    swatch: str
    deviation: str
    work: tuple[str, ...]
    price: Decimal
    uid: str = ""


@dataclass(frozen=True, slots=True)
class OfferArea:
    """The lines of one area of the bike."""

    name: str
    lines: tuple[OfferLine, ...]

    @property
    def price(self) -> Decimal:
        """What its lines come to."""
        return sum((line.price for line in self.lines), Decimal(0))


@dataclass(frozen=True, slots=True)
class OfferTax:
    name: str
    percent: Decimal
    net: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class OfferStage:
    name: str
    due: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Offer:
    """Everything on the customer's PDF."""

    number: str
    version: int
    issued_on: str
    valid_until: str
    currency: str
    shop: str
    shop_address: str
    customer: str
    customer_address: str
    machine: str
    frame_number: str
    engine_number: str
    title: str
    note: str
    areas: tuple[OfferArea, ...]
    price: Decimal
    discount: Decimal
    net: Decimal
    taxes: tuple[OfferTax, ...]
    total: Decimal
    stages: tuple[OfferStage, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    record: str
    shop_contact: str = ""


def build(
    *,
    number: str,
    version: int,
    issued_on: date,
    valid_until: date,
    currency: str,
    shop: Shop | None,
    draft: Draft,
    scope: Scope,
    result: Result,
    assumptions: str,
    record: str,
) -> Offer:
    """The offer of a priced draft."""
    restoration = scope.restoration
    machine: Machine = restoration.machine
    return Offer(
        number=number,
        version=version,
        issued_on=issued_on.isoformat(),
        valid_until=valid_until.isoformat(),
        currency=currency,
        shop=shop.name if shop else "",
        shop_address=shop.address if shop else "",
        customer=restoration.customer.name,
        customer_address=restoration.customer.address,
        machine=str(machine),
        frame_number=machine.frame_number,
        engine_number=machine.engine_number,
        title=restoration.title,
        note=draft.note,
        areas=_areas(scope, result),
        price=result.price,
        discount=result.discount,
        net=result.net,
        taxes=tuple(OfferTax(t.name, t.rate * 100, t.net, t.tax) for t in result.taxes),
        total=result.total,
        stages=tuple(OfferStage(s.name, s.due, s.amount) for s in result.instalments),
        assumptions=tuple(line.strip() for line in assumptions.splitlines() if line.strip()),
        cautions=cautions(scope),
        record=record,
        shop_contact=" · ".join(word for word in (shop.phone, shop.email) if word) if shop else "",
    )


def _areas(scope: Scope, result: Result) -> tuple[OfferArea, ...]:
    """Lines by area in the order of the outline; an area that comes back later is the same area."""
    prices = {line.uid: line.price for line in result.lines}
    areas: dict[str, list[OfferLine]] = {}
    for part in scope.parts:
        line = OfferLine(
            uid=str(part.uid),
            part=part.name,
            depth=part.depth,
            pieces=part.pieces,
            finish=finish_text(part.agreed_finish),
            swatch=part.agreed_finish.swatch if part.agreed_finish else "",
            deviation=deviation(part),
            work=_work(scope.steps[part.pk]),
            price=prices[str(part.uid)],
        )
        areas.setdefault(part.area_name or _("Other"), []).append(line)
    return tuple(OfferArea(name, tuple(lines)) for name, lines in areas.items())


def _work(steps: Sequence[Step]) -> tuple[str, ...]:
    """Names of the steps, each once: a customer reads what is done, not how often."""
    return tuple(dict.fromkeys(str(step) for step in steps))


def finish_text(finish: Finish | None) -> str:
    """A finish in words: its name, then colour, gloss and lining where the name does not say them."""
    if finish is None:
        return ""
    extra = [
        word
        for word in (finish.colour, finish.gloss, finish.lining)
        if word and word.lower() not in finish.name.lower()
    ]
    return f"{finish.name} ({', '.join(extra)})" if extra else finish.name


def cautions(scope: Scope) -> tuple[str, ...]:
    """What a customer must know about safety: always the general ones, and those the work asks for."""
    said = [
        _(
            "A restored vehicle is used at the rider's own risk. Brakes, steering, frame and tyres have to be inspected by a "
            "qualified person before it is ridden, as the law of the place asks."
        ),
        _("This quote is not an approval of the vehicle for the road, and it does not replace an inspection."),
    ]
    steps = [step for steps in scope.steps.values() for step in steps]
    if any(step.work.plates for step in steps if not step.buy):
        said.append(
            _(
                "Plated steel of high strength can break without warning. Such parts are baked after plating or finished in "
                "another way; baking lowers that danger and does not end it."
            )
        )
    if any(part.material == "magnesium" for part in scope.parts):
        said.append(_("Magnesium parts are not blasted with the others: their dust burns and can explode."))
    return tuple(said)


def deviation(part: Part) -> str:
    """What the customer agrees to that the factory did not do: as noted, else the factory finish where it is known."""
    if part.deviation or not deviates(part) or part.factory_finish is None:
        return part.deviation
    return _("the factory finish was %(finish)s") % {"finish": finish_text(part.factory_finish)}


def deviates(part: Part) -> bool:
    """Whether the agreed finish is not the factory finish."""
    return part.factory_finish_id != part.agreed_finish_id
