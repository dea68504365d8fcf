"""What the customer reads. Built once when a quote is issued, frozen with it, and never holding a cost."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _

from quotes.engine.results import CREDIT, Result
from quotes.pricing.models import Draft, Stage
from shop.methods.models import Finish
from shop.people.models import Shop
from shop.restorations.models import Basis, Machine, Part
from shop.routes.models import Source, Step
from shop.routes.selectors import Scope

#: Prices from here on need more room [money].
LONG = 100_000


@dataclass(frozen=True, slots=True)
class OfferLine:
    """A part: what is done to it, how it will look, what it costs the customer. Its uid is never shown.

    ``basis`` says what the price is: fixed, an estimate of at most ``cap``, or by the hour with ``cap`` as the limit at
    which we ask.
    """

    part: str
    depth: int
    pieces: int
    finish: str
    swatch: str
    deviation: str
    work: tuple[str, ...]
    price: Decimal
    uid: str = ""
    basis: str = Basis.FIXED.value
    cap: Decimal | None = None


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
    """A payment: ``due`` in words, ``days`` after ``event`` for whoever keeps the money."""

    name: str
    due: str
    amount: Decimal
    event: str = ""
    days: int = 0


@dataclass(frozen=True, slots=True)
class OfferCredit:
    """What comes off: a fee that was paid, or a step left out of what was agreed."""

    name: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class OfferDamage:
    """A damage that is not in the price: with its ``price`` if found, or without one when it is no part of the offer."""

    part: str
    name: str
    price: Decimal | None = None


@dataclass(frozen=True, slots=True)
class OfferFound:
    """A damage that was found, in the words of whoever saw it: why a variation is offered."""

    part: str
    name: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Offer:
    """Everything on the customer's PDF.

    ``price`` is that of the lines less the ``credits``. ``low`` and ``high`` are a ballpark's range [money with tax].
    ``credit_days`` is how long an accepted fee is credited, ``credited_until`` the last day on which a credit in this
    offer holds, ``varies`` the quote it varies, ``found`` the damages it is for, ``agreed_total`` what is agreed in all
    once it is accepted [money with tax].
    """

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
    stage: str = Stage.MAIN.value
    varies: str = ""
    credits: tuple[OfferCredit, ...] = ()
    credited_until: str = ""
    work_begins: str = ""
    ready_likely: str = ""
    ready_kept: str = ""
    credit_days: int = 0
    provisional: tuple[OfferDamage, ...] = ()
    excluded: tuple[OfferDamage, ...] = ()
    low: Decimal | None = None
    high: Decimal | None = None
    found: tuple[OfferFound, ...] = ()
    agreed_total: Decimal | None = None

    @property
    def credited(self) -> Decimal:
        """All that comes off."""
        return sum((credit.amount for credit in self.credits), Decimal(0))

    @property
    def work_price(self) -> Decimal:
        """What the lines come to before anything comes off."""
        return self.price + self.credited

    @property
    def all_fixed(self) -> bool:
        """Whether every line promises its price."""
        return all(line.basis == Basis.FIXED for area in self.areas for line in area.lines)

    @property
    def long_prices(self) -> bool:
        """Whether the card at its head needs room: a large sum, or two of them."""
        return self.price >= LONG or self.stage == Stage.BALLPARK.value

    @property
    def is_credit(self) -> bool:
        """Whether the customer gets money back."""
        return self.total < 0


@dataclass(frozen=True, slots=True)
class Terms:
    """What the stage adds to an offer; see `Offer` for the words. ``steps`` are the uids offered, None for all.

    ``agreed_before`` is what is agreed without it [money with tax].
    """

    stage: Stage = Stage.MAIN
    steps: frozenset[str] | None = None
    varies: str = ""
    credited_until: date | None = None
    credit_days: int = 0
    low: Decimal | None = None
    high: Decimal | None = None
    ready: "Ready | None" = None
    found: tuple[OfferFound, ...] = ()
    agreed_before: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Ready:
    """When work begins, and the days on which the bike is likely ready and can be promised."""

    begins: date
    likely: date
    kept: date


MAIN = Terms()


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
    terms: Terms = MAIN,
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
        areas=_areas(scope, result, terms.steps),
        price=result.price,
        discount=result.discount,
        net=result.net,
        taxes=tuple(OfferTax(t.name, t.rate * 100, t.net, t.tax) for t in result.taxes),
        total=result.total,
        stages=tuple(OfferStage(s.name, s.due, s.amount, s.event, s.days) for s in result.instalments),
        assumptions=tuple(line.strip() for line in assumptions.splitlines() if line.strip()),
        cautions=cautions(scope, terms.steps),
        record=record,
        shop_contact=" · ".join(word for word in (shop.phone, shop.email, shop.tax_number) if word) if shop else "",
        stage=terms.stage.value,
        varies=terms.varies,
        credits=tuple(OfferCredit(line.part, -line.price) for line in result.lines if line.basis == CREDIT),
        credited_until=terms.credited_until.isoformat() if terms.credited_until else "",
        work_begins=terms.ready.begins.isoformat() if terms.ready else "",
        ready_likely=terms.ready.likely.isoformat() if terms.ready else "",
        ready_kept=terms.ready.kept.isoformat() if terms.ready else "",
        credit_days=terms.credit_days,
        provisional=tuple(OfferDamage(item.part, item.name, item.price) for item in result.provisional),
        excluded=tuple(OfferDamage(item.part, item.name) for item in result.excluded),
        low=terms.low,
        high=terms.high,
        found=terms.found,
        agreed_total=None if terms.agreed_before is None else terms.agreed_before + result.total,
    )


def _areas(scope: Scope, result: Result, offered: Collection[str] | None) -> tuple[OfferArea, ...]:
    """Lines by area in the order of the outline; an area that comes back later is the same area."""
    lines = {line.uid: line for line in result.lines}
    areas: dict[str, list[OfferLine]] = {}
    for part in scope.parts:
        priced = lines.get(str(part.uid))
        if priced is None:  # no part of this stage
            continue
        line = OfferLine(
            uid=str(part.uid),
            part=part.name,
            depth=part.depth,
            pieces=part.pieces,
            finish=finish_text(part.agreed_finish),
            swatch=part.agreed_finish.swatch if part.agreed_finish else "",
            deviation=deviation(part),
            work=_work(_offered(scope.steps[part.pk], offered)),
            price=priced.price,
            basis=priced.basis,
            cap=priced.cap,
        )
        areas.setdefault(part.area_name or _("Other"), []).append(line)
    return tuple(OfferArea(name, tuple(found)) for name, found in areas.items())


def _offered(steps: Sequence[Step], offered: Collection[str] | None) -> Sequence[Step]:
    return steps if offered is None else [step for step in steps if str(step.uid) in offered]


def _work(steps: Sequence[Step]) -> tuple[str, ...]:
    """Names of the steps, each once: a customer reads what is done, not how often."""
    return tuple(dict.fromkeys(_named(step) for step in steps))


def _named(step: Step) -> str:
    """A step by name. What the customer brings comes with what we do not stand for."""
    if step.buy_source == Source.CUSTOMERS_OWN:
        said = _("%(part)s, which you bring: we charge handling, no price, and give no warranty on the part itself")
        return said % {"part": step}
    return str(step)


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


def cautions(scope: Scope, offered: Collection[str] | None = None) -> tuple[str, ...]:
    """What a customer must know about safety: always the general ones, and those the work asks for."""
    said = [
        _(
            "A restored vehicle is used at the rider's own risk. Brakes, steering, frame and tyres have to be inspected by a "
            "qualified person before it is ridden, as the law of the place asks."
        ),
        _("This quote is not an approval of the vehicle for the road, and it does not replace an inspection."),
    ]
    steps = [step for steps in scope.steps.values() for step in _offered(steps, offered)]
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
