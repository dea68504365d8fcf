"""Rates are noted, never edited: each of these adds a row from a day on, and tells the journal.

Money comes in as `Decimal` in major units of the shop's currency, percents as they are said (19 for 19 %). A wrong field
raises ``ValidationError`` with a sentence at it; then nothing is stored.
"""

import uuid
from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TypedDict, Unpack

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from quotes.engine import inputs
from quotes.engine.canonical import text
from quotes.engine.errors import BadInput
from quotes.engine.evidence import LEAST_NONE
from quotes.engine.money import instalments, places, to_minor
from quotes.engine.vendor_work import checked_breaks
from shop import currency
from shop.journal.services import Subject, subject_of
from shop.methods.dated import add_children, add_revision, at_field, held_before, tell
from shop.methods.models import Consumable, Service
from shop.people.models import Grade
from shop.rates.models import (
    ConsumablePrice,
    GradeRate,
    Odds,
    PaymentStage,
    PricePolicy,
    ServiceBreak,
    ServicePrice,
    Status,
    TaxRate,
)

RATE_PLACES = 4
KEYS = uuid.UUID("6f2f1d0e-52c8-4a9b-8d1f-3f4b7c1f0a55")  # names what has no uid of its own, for ever the same

ZERO, ONE = Decimal(0), Decimal(1)


@transaction.atomic
def note_grade_rate(
    *,
    grade: Grade,
    valid_from: date,
    cost_rate: Decimal,
    charge_rate: Decimal,
    pace: Decimal = ONE,
    who: str,
    now: datetime,
) -> GradeRate:
    """What an hour of ``grade`` costs and sells for, and its pace against standard (above 1 is slower)."""
    row = GradeRate(
        grade=grade,
        valid_from=valid_from,
        cost_rate_minor=_minor("cost_rate", cost_rate),
        charge_rate_minor=_minor("charge_rate", charge_rate),
        pace=pace,
        noted_by=who,
    )
    before = held_before(row, of="grade")
    add_revision(row, of="grade")
    tell(row, what="labour rate noted", subject=subject_of(grade), before=before, who=who, now=now)
    return row


@transaction.atomic
def note_consumable_price(
    *,
    consumable: Consumable,
    valid_from: date,
    pack_size: Decimal,
    pack_price: Decimal,
    status: str = Status.SEEN,
    said_by: str = "",
    valid_until: date | None = None,
    who: str,
    now: datetime,
) -> ConsumablePrice:
    """What a pack of ``pack_size`` [unit of the consumable] costs; who said so, and until when it holds."""
    row = ConsumablePrice(
        consumable=consumable,
        valid_from=valid_from,
        pack_size=pack_size,
        pack_price_minor=_minor("pack_price", pack_price),
        status=status,
        said_by=said_by.strip(),
        valid_until=valid_until,
        noted_by=who,
    )
    _refuse_over_before_begun(row)
    before = held_before(row, of="consumable")
    add_revision(row, of="consumable")
    tell(row, what="consumable price noted", subject=subject_of(consumable), before=before, who=who, now=now)
    return row


@transaction.atomic
def note_service_price(
    *,
    service: Service,
    valid_from: date,
    breaks: Sequence[inputs.Break],
    handling_grade: Grade,
    lot_charge: Decimal = ZERO,
    minimum: Decimal = ZERO,
    trip: Decimal = ZERO,
    trip_share: Decimal = ONE,
    handling: Decimal = ZERO,
    status: str = Status.SEEN,
    said_by: str = "",
    valid_until: date | None = None,
    who: str,
    now: datetime,
) -> ServicePrice:
    """How a vendor charges a lot: ``breaks`` from quantity 0 on in rising order, rates with at most four decimals."""
    row = ServicePrice(
        service=service,
        valid_from=valid_from,
        lot_minor=_minor("lot_charge", lot_charge),
        minimum_minor=_minor("minimum", minimum),
        trip_minor=_minor("trip", trip),
        trip_share=trip_share,
        handling=handling,
        handling_grade=handling_grade,
        status=status,
        said_by=said_by.strip(),
        valid_until=valid_until,
        noted_by=who,
    )
    _refuse_over_before_begun(row)
    before = held_before(row, of="service")
    old = [[item.quantity, item.rate_e4] for item in before.breaks.all()] if before else []
    table = _breaks(breaks)
    add_revision(row, of="service")
    _keep(table, row)
    tell(
        row,
        what="service price noted",
        subject=subject_of(service),
        before=before,
        who=who,
        now=now,
        breaks=(old, [[item.quantity, item.rate_e4] for item in table]),
    )
    return row


def _refuse_over_before_begun(row: ConsumablePrice | ServicePrice) -> None:
    if row.valid_until is not None and row.valid_until < row.valid_from:
        raise ValidationError({"valid_until": _("The price would be over before it begins. Give a later day.")})


def _breaks(breaks: Sequence[inputs.Break]) -> list[ServiceBreak]:
    try:
        checked_breaks(breaks)
    except BadInput as error:
        raise _told("breaks", error) from None
    return [ServiceBreak(quantity=item.quantity, rate_e4=_rate_e4(item.rate)) for item in breaks]


def _rate_e4(rate: Decimal) -> int:
    scaled = rate.scaleb(RATE_PLACES)
    if scaled != int(scaled):
        raise ValidationError(
            {"breaks": _("The rate %(rate)s has more than four decimal places. Round it.") % {"rate": text(rate)}}
        )
    return int(scaled)


def _keep(table: Sequence[ServiceBreak], price: ServicePrice) -> None:
    for item in table:
        item.price = price
        try:
            item.full_clean(exclude={"price"}, validate_unique=False, validate_constraints=False)
        except ValidationError as error:
            raise at_field("breaks", error) from None
    add_children(price, "breaks", table)


@transaction.atomic
def note_tax_rate(*, code: str, name: str, percent: Decimal, valid_from: date, who: str, now: datetime) -> TaxRate:
    """What a tax takes [%], and what it is called, which no other tax may be: on lists a tax goes by its name."""
    row = TaxRate(code=code, name=name.strip(), percent=percent, valid_from=valid_from, noted_by=who)
    _refuse_name_of_another(row)
    before = held_before(row, of="code")
    add_revision(row, of="code")
    subject = Subject("rates.taxrate", uuid.uuid5(KEYS, f"tax {code}"), row.name)
    tell(row, what="tax rate noted", subject=subject, before=before, who=who, now=now)
    return row


def add_tax(*, code: str, name: str, percent: Decimal, valid_from: date, who: str, now: datetime) -> TaxRate:
    """A tax under a code that no other has, with its first rate. Parts are given the code one by one."""
    there = TaxRate.objects.filter(code__iexact=code).order_by("-valid_from", "-revision").first()
    if there is not None:
        said = _("“%(name)s” has this code already. Choose another, or note a new rate for that one.")
        raise ValidationError({"code": said % {"name": there.name}})
    return note_tax_rate(code=code, name=name, percent=percent, valid_from=valid_from, who=who, now=now)


def _refuse_name_of_another(row: TaxRate) -> None:
    others = TaxRate.objects.exclude(code=row.code).order_by("valid_from", "revision").values_list("code", "name")
    taken = {name.casefold(): code for code, name in dict(others).items()}
    code = taken.get(row.name.casefold())
    if code is not None:
        said = _("The tax with the code “%(code)s” is called that. Choose another name, so that nobody mixes them up.")
        raise ValidationError({"name": said % {"code": code}})


class Terms(TypedDict, total=False):
    """What a price policy says besides its amounts of money and payment stages; the rest has the model's defaults."""

    price_by: str
    labour_margin: Decimal
    overhead_margin: Decimal
    material_margin: Decimal
    vendor_margin: Decimal
    bought_in_margin: Decimal
    floor: Decimal
    overhead_by: str
    overhead_percent: Decimal
    handling_percent: Decimal
    handling_grade: Grade | None
    mixed_percent: Decimal
    comebacks_percent: Decimal
    tax_by: str
    rounding: str
    validity_days: int
    assumptions: str
    storage_after_days: int
    quiet_days: int


@transaction.atomic
def note_policy(
    *,
    valid_from: date,
    stages: Sequence[inputs.PaymentStage],
    overhead_rate: Decimal = ZERO,
    storage: Decimal = ZERO,
    who: str,
    now: datetime,
    **terms: Unpack[Terms],
) -> PricePolicy:
    """How the shop prices from a day on; ``stages`` must add up to 100 %, ``storage`` is per day before tax."""
    row = PricePolicy(
        valid_from=valid_from,
        overhead_rate_minor=_minor("overhead_rate", overhead_rate),
        storage_minor=_minor("storage", storage),
        noted_by=who,
        **terms,
    )
    before = held_before(row)
    old = [[item.name, item.percent, item.due, item.event, item.days] for item in before.stages.all()] if before else []
    rows = _stages(stages)
    add_revision(row)
    _keep_stages(rows, row)
    tell(
        row,
        what="price policy noted",
        subject=Subject("rates.pricepolicy", uuid.uuid5(KEYS, "policy"), _("Price policy")),
        before=before,
        who=who,
        now=now,
        stages=(old, [[item.name, item.percent, item.due, item.event, item.days] for item in rows]),
    )
    return row


def _stages(stages: Sequence[inputs.PaymentStage]) -> list[PaymentStage]:
    try:
        instalments(ZERO, [stage.percent for stage in stages], digits=0)
    except BadInput as error:
        raise _told("stages", error) from None
    return [
        PaymentStage(
            position=position,
            name=stage.name,
            percent=stage.percent,
            due=stage.due,
            event=stage.event or PaymentStage.Event.ACCEPTED,
            days=stage.days,
        )
        for position, stage in enumerate(stages, start=1)
    ]


def _keep_stages(stages: Sequence[PaymentStage], policy: PricePolicy) -> None:
    for stage in stages:
        stage.policy = policy
        try:
            stage.full_clean(exclude={"policy"}, validate_unique=False, validate_constraints=False)
        except ValidationError as error:
            raise at_field("stages", error) from None
    add_children(policy, "stages", stages)


class Beliefs(TypedDict, total=False):
    """Chances and ratios behind the words, and how sure the shop wants to be [%, times]; the rest has the model's defaults."""

    common: Decimal
    sometimes: Decimal
    rare: Decimal
    strong: Decimal
    fair: Decimal
    weak: Decimal
    none: Decimal
    noticed: Decimal
    proven: Decimal
    seen: Decimal
    phoned: Decimal
    guessed: Decimal
    pace: Decimal
    kept: Decimal
    contingency_margin: Decimal
    cap: Decimal
    credit_days: int


@transaction.atomic
def note_odds(
    *, valid_from: date, inspect_fee: Decimal = ZERO, who: str, now: datetime, **beliefs: Unpack[Beliefs]
) -> Odds:
    """What the shop believes about what nobody can see yet, from a day on; ``inspect_fee`` [money before tax]."""
    row = Odds(valid_from=valid_from, inspect_fee_minor=_minor("inspect_fee", inspect_fee), noted_by=who, **beliefs)
    before = held_before(row)
    _refuse_out_of_range(row)
    add_revision(row)
    subject = Subject("rates.odds", uuid.uuid5(KEYS, "odds"), _("Odds"))
    tell(row, what="odds noted", subject=subject, before=before, who=who, now=now)
    return row


def _refuse_out_of_range(row: Odds) -> None:
    """Also where common would be rarer than sometimes, or strong say less than fair: the words would lie."""
    row.clean_fields(exclude={"revision"})
    if row.none < LEAST_NONE * 100:
        least = {"least": text(LEAST_NONE * 100)}
        raise ValidationError({"none": _("No list is complete. Give at least %(least)s %%.") % least})
    if not 0 <= row.noticed <= 100:
        raise ValidationError({"noticed": _("Give a chance from 0 to 100 %.")})
    for field, names in (("sometimes", ("common", "sometimes", "rare")), ("fair", ("strong", "fair", "weak"))):
        most, middle, least_of_them = (getattr(row, name) for name in names)
        if not most >= middle >= least_of_them:
            said = _("Give them in order: “%(most)s” is at least “%(middle)s”, and that at least “%(least)s”.")
            raise ValidationError({field: said % dict(zip(("most", "middle", "least"), names, strict=True))})


def _minor(field: str, amount: Decimal) -> int:
    """``amount`` in minor units; what has more decimals than the currency, or is below zero, is refused at its field."""
    if amount < 0:
        raise ValidationError({field: _("An amount of money cannot be negative. Give 0 or more.")})
    try:
        return to_minor(amount, digits=places(currency.code()))
    except BadInput as error:
        raise _told(field, error) from None


def _told(field: str, error: BadInput) -> ValidationError:
    return ValidationError({field: error.sentence(_(error.template))})
