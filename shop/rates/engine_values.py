"""Rows of rates and methods as the engine takes them: fractions for percents, major units of money, keys for rows."""

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal

from django.utils.translation import gettext as _

from quotes.engine import inputs
from quotes.engine.money import from_minor, places
from shop import currency
from shop.methods.models import StandardTime, Usage
from shop.rates.models import ConsumablePrice, Dated, GradeRate, Odds, PricePolicy, ServicePrice, Status, TaxRate


def money(minor: int) -> Decimal:
    return from_minor(minor, digits=places(currency.code()))


def fraction(percent: Decimal) -> Decimal:
    return percent.scaleb(-2)


def grade(rate: GradeRate) -> inputs.Grade:
    return inputs.Grade(
        key=str(rate.grade.uid),
        name=rate.grade.name,
        cost_rate=money(rate.cost_rate_minor),
        charge_rate=money(rate.charge_rate_minor),
        pace=rate.pace,
        source=_("rate of %(day)s, revision %(revision)s") % _when(rate),
    )


def consumable(price: ConsumablePrice) -> inputs.Consumable:
    thing = price.consumable
    return inputs.Consumable(
        key=str(thing.uid),
        name=thing.name,
        unit=thing.unit,
        by=inputs.By(thing.by),
        pack_size=price.pack_size,
        pack_price=money(price.pack_price_minor),
        smallest_mix=thing.smallest_mix,
        whole_packs=thing.whole_packs,
        solids=thing.solids,
        density=thing.density,
        source=_price_source(price),
        status=price.status,
    )


def usages_of(operations: Iterable[int]) -> dict[int, tuple[inputs.Usage, ...]]:
    """Operation id to what it uses, in one query."""
    found: dict[int, tuple[inputs.Usage, ...]] = {}
    rows = Usage.objects.filter(operation__in=list(operations)).select_related("consumable")
    for row in rows.order_by("operation_id", "consumable__uid"):
        found[row.operation_id] = (*found.get(row.operation_id, ()), _usage(row))
    return found


def _usage(row: Usage) -> inputs.Usage:
    return inputs.Usage(
        consumable=str(row.consumable.uid),
        amount=row.amount,
        waste=fraction(row.waste),
        film=row.film,
        transfer=fraction(row.transfer),
    )


def operation(time: StandardTime, usages: tuple[inputs.Usage, ...]) -> inputs.Operation:
    thing, place = time.operation, time.operation.place
    return inputs.Operation(
        key=str(thing.uid),
        name=thing.name,
        grade=str(thing.grade.uid),
        setup=time.setup,
        run=time.run,
        measure=inputs.Measure(thing.measure),
        allowance=fraction(time.allowance),
        shop_factor=time.shop_factor,
        spread=time.spread,
        capacity=place.capacity if place else inputs.ZERO,
        capacity_by=inputs.Measure(place.capacity_by) if place else inputs.Measure.PIECE,
        shares_setup=thing.shares_setup,
        elapsed=Decimal(thing.elapsed),
        usages=usages,
        plates=thing.plates,
        bakes=thing.bakes,
        place=place.name if place else "",
        occupies=thing.occupies,
        latest_wait=None if thing.latest_wait is None else Decimal(thing.latest_wait),
        source=_("standard time of %(day)s, revision %(revision)s") % _when(time),
    )


def service(price: ServicePrice) -> inputs.Service:
    thing = price.service
    breaks = sorted(price.breaks.all(), key=lambda row: row.quantity)
    return inputs.Service(
        key=str(thing.uid),
        name=thing.name,
        vendor=thing.vendor.name,
        measure=inputs.Measure(thing.measure),
        breaks=tuple(inputs.Break(row.quantity, Decimal(row.rate_e4).scaleb(-4)) for row in breaks),
        lot_charge=money(price.lot_minor),
        minimum=money(price.minimum_minor),
        trip=money(price.trip_minor),
        trip_share=price.trip_share,
        handling=price.handling,
        handling_grade=str(price.handling_grade.uid),
        plates=thing.plates,
        bake_hours=thing.bake_hours,
        source=_price_source(price),
        status=price.status,
        lead_days=thing.lead_days,
        late_spread=thing.late_spread,
        transport_days=thing.vendor.transport_days,
        calendar=str(thing.vendor.uid),
    )


def tax_rate(rate: TaxRate) -> inputs.TaxRate:
    return inputs.TaxRate(
        code=rate.code,
        name=rate.name,
        rate=fraction(rate.percent),
        source=_("tax rate of %(day)s, revision %(revision)s") % _when(rate),
    )


def policy(row: PricePolicy) -> inputs.Policy:
    by_hours = row.overhead_by == PricePolicy.OverheadBy.HOURS
    return inputs.Policy(
        currency=currency.code(),
        price_by=inputs.PriceBy(row.price_by),
        labour_margin=fraction(row.labour_margin),
        overhead_margin=fraction(row.overhead_margin),
        material_margin=fraction(row.material_margin),
        vendor_margin=fraction(row.vendor_margin),
        bought_in_margin=fraction(row.bought_in_margin),
        floor=fraction(row.floor),
        overhead_by=inputs.OverheadBy(row.overhead_by),
        overhead_rate=money(row.overhead_rate_minor) if by_hours else fraction(row.overhead_percent),
        handling_rate=fraction(row.handling_percent),
        mixed_share=fraction(row.mixed_percent),
        comebacks=fraction(row.comebacks_percent),
        tax_by=inputs.TaxBy(row.tax_by),
        rounding=row.rounding,
        stages=tuple(
            inputs.PaymentStage(stage.name, stage.percent, stage.due, stage.event, stage.days)
            for stage in sorted(row.stages.all(), key=lambda stage: stage.position)
        ),
        source=_("price policy of %(day)s, revision %(revision)s") % _when(row),
    )


def with_odds(policy: inputs.Policy, odds: Odds) -> inputs.Policy:
    """The policy with what the shop believes about spreads and how sure it wants to be."""
    return replace(
        policy,
        contingency_margin=fraction(odds.contingency_margin),
        kept=fraction(odds.kept),
        pace_spread=fraction(odds.pace),
        status_spreads=tuple((status.value, fraction(getattr(odds, status.value))) for status in Status),
        cap_share=fraction(odds.cap),
    )


def _when(row: Dated | StandardTime) -> dict[str, str | int]:
    return {"day": row.valid_from.isoformat(), "revision": row.revision}


def _price_source(price: ConsumablePrice | ServicePrice) -> str:
    known = {
        Status.SEEN: _("price of %(day)s, revision %(revision)s, seen in writing"),
        Status.PHONED: _("price of %(day)s, revision %(revision)s, told by phone"),
        Status.GUESSED: _("price of %(day)s, revision %(revision)s, guessed"),
    }
    return known[Status(price.status)] % _when(price)
