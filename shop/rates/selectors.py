"""What things cost on a day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from quotes.engine import inputs
from shop.methods.dated import held_by, holding, in_force
from shop.methods.models import StandardTime
from shop.methods.selectors import standard_times
from shop.rates import engine_values
from shop.rates.models import ConsumablePrice, GradeRate, Odds, PricePolicy, ServicePrice, TaxRate


def grade_rates(on: date) -> dict[int, GradeRate]:
    """Labour grade id to its rate in force."""
    rates = in_force(GradeRate.objects.all(), of="grade", on=on).select_related("grade")
    return held_by(rates, of="grade_id", on=on)


def consumable_prices(on: date) -> dict[int, ConsumablePrice]:
    """Consumable id to its price in force."""
    prices = in_force(ConsumablePrice.objects.all(), of="consumable", on=on).select_related("consumable")
    return held_by(prices, of="consumable_id", on=on)


def service_prices(on: date, *, only: Iterable[str] | None = None) -> dict[int, ServicePrice]:
    """Service id to its price in force, with its breaks; ``only`` those services whose uid is named."""
    prices = in_force(ServicePrice.objects.all(), of="service", on=on)
    wanted = None if only is None else set(only)
    if wanted is not None:
        prices = prices.filter(service__uid__in=wanted)
    prices = prices.select_related("service__vendor", "handling_grade").prefetch_related("breaks")
    return held_by(
        prices, of="service_id", on=on, also=lambda price: wanted is None or str(price.service.uid) in wanted
    )


def tax_rates(on: date) -> dict[str, TaxRate]:
    """Tax code to its rate in force."""
    return held_by(in_force(TaxRate.objects.all(), of="code", on=on), of="code", on=on)


def policy(on: date) -> PricePolicy | None:
    """The price policy in force, with its payment stages."""
    return holding(PricePolicy.objects.select_related("handling_grade").prefetch_related("stages"), on=on)


def odds(on: date) -> Odds:
    """What the shop believes on a day; where nothing is noted, what Bareframe begins with, unsaved."""
    return holding(Odds.objects.all(), on=on) or begun_with(on)


def begun_with(on: date) -> Odds:
    """The odds of a shop that has noted none; a column's default is no decimal before it is cleaned."""
    row = Odds(valid_from=on)
    row.clean_fields()
    return row


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All that has a price on a day, as the engine takes it. The key of a thing is its uid as text.

    What has no rate in force is not in it, nor is an operation or service whose labour grade has none.
    """

    on: date
    grades: tuple[inputs.Grade, ...]
    consumables: tuple[inputs.Consumable, ...]
    operations: tuple[inputs.Operation, ...]
    services: tuple[inputs.Service, ...]
    taxes: tuple[inputs.TaxRate, ...]
    policy: inputs.Policy | None
    handling_grade: str = ""  # who handles bought-in parts by the policy; empty when it does not say


def catalogue(on: date, *, only: Iterable[str] | None = None) -> Catalogue:
    """The catalogue of a day, in a fixed number of queries and a fixed order.

    ``only`` names the operations and services wanted, by key; consumables are then those they use. Labour grades, tax
    rates and policy are always all there.
    """
    keys = None if only is None else set(only)
    rates = grade_rates(on)
    grades = tuple(engine_values.grade(rate) for rate in rates.values())
    operations = _operations(standard_times(on, only=keys), rates)
    services = [price for price in service_prices(on, only=keys).values() if _can_be_priced(price, rates)]
    consumables = [engine_values.consumable(price) for price in consumable_prices(on).values()]
    if keys is not None:
        used = {usage.consumable for operation in operations for usage in operation.usages}
        consumables = [consumable for consumable in consumables if consumable.key in used]
    found = policy(on)
    return Catalogue(
        on=on,
        grades=tuple(sorted(grades, key=_key)),
        consumables=tuple(sorted(consumables, key=_key)),
        operations=tuple(sorted(operations, key=_key)),
        services=tuple(sorted(map(engine_values.service, services), key=_key)),
        taxes=tuple(engine_values.tax_rate(rate) for _code, rate in sorted(tax_rates(on).items())),
        policy=engine_values.policy(found) if found else None,
        handling_grade=str(found.handling_grade.uid) if found and found.handling_grade else "",
    )


def _operations(times: dict[int, StandardTime], rates: dict[int, GradeRate]) -> list[inputs.Operation]:
    priced = [time for time in times.values() if time.operation.grade_id in rates]
    usages = engine_values.usages_of([time.operation_id for time in priced])
    return [engine_values.operation(time, usages.get(time.operation_id, ())) for time in priced]


def _can_be_priced(price: ServicePrice, rates: dict[int, GradeRate]) -> bool:
    """A price without its table of breaks, or handled by a grade without a rate, is no price yet."""
    return bool(price.breaks.all()) and (not price.handling or price.handling_grade_id in rates)


def _key(item: inputs.Grade | inputs.Consumable | inputs.Operation | inputs.Service) -> str:
    return item.key
