"""Input that cannot be priced is refused here, with the place and what to do."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from quotes.engine import damage, money, rework, vendor_work
from quotes.engine.errors import BadInput
from quotes.engine.inputs import By, Consumable, Measure, Operation, Part, Policy, Restoration, Step, TaxRate
from quotes.engine.pricing import checked_margin

_NOT_NEGATIVE = {
    "operations": (
        ("setup", "The set-up time is negative. Give 0 or more minutes."),
        ("run", "The run time is negative. Give 0 or more minutes."),
        ("allowance", "The allowance is negative. Give 0 or more."),
        ("elapsed", "The elapsed time is negative. Give 0 or more minutes."),
        ("capacity", "The capacity of the place is negative. Give 0 for no limit, or more."),
    ),
    "grades": (
        ("cost_rate", "The cost rate is negative. Give 0 or more."),
        ("charge_rate", "The charge-out rate is negative. Give 0 or more."),
    ),
    "services": (
        ("lot_charge", "The lot charge is negative. Give 0 or more."),
        ("minimum", "The minimum is negative. Give 0 or more."),
        ("trip", "The trip cost is negative. Give 0 or more."),
        ("trip_share", "The share of the trip is negative. Give 0 or more."),
        ("handling", "The handling time is negative. Give 0 or more minutes."),
    ),
    "purchases": (
        ("unit_price", "The price is negative. Give 0 or more."),
        ("handling", "The handling time is negative. Give 0 or more minutes."),
    ),
    "consumables": (
        ("pack_price", "The price of a pack is negative. Give 0 or more."),
        ("smallest_mix", "The smallest mix is negative. Give 0 or more."),
    ),
    "taxes": (("rate", "The tax rate is negative. Give 0 or more."),),
}


def check(restoration: Restoration) -> None:
    """Raise `BadInput` for the first thing in ``restoration`` that cannot be priced."""
    for group, rules in _NOT_NEGATIVE.items():
        _not_negative(getattr(restoration, group), rules)
    _policy(restoration.policy)
    for consumable in restoration.consumables:
        _consumable(consumable)
    by_key = {item.key: item for item in restoration.consumables}
    for grade in restoration.grades:
        if grade.pace <= 0:
            raise BadInput("The pace must be more than 0.", step=grade.name, field="pace")
    for operation in restoration.operations:
        _operation(operation)
        _usages(operation, by_key)
    for service in restoration.services:
        vendor_work.checked_breaks(service.breaks, step=service.name)
    if not 0 <= restoration.discount < 1:
        raise BadInput("The discount must be from 0 % to less than 100 %.", field="discount")
    _parts(restoration.parts, restoration.taxes)
    _terms(restoration)


def _terms(restoration: Restoration) -> None:
    """The fee and the credits."""
    if restoration.fee is not None and restoration.fee < 0:
        raise BadInput("The fee is negative. Give 0 or more.", field="fee")
    codes = {tax.code for tax in restoration.taxes}
    for credit in restoration.credits:
        if credit.amount < 0:
            raise BadInput(
                "“{name}” is negative: it would add to the price. Give 0 or more.", field="credit", name=credit.name
            )
        if credit.tax not in codes:
            raise BadInput("There is no tax rate for {code}. Add one.", field="tax", code=credit.tax)


def _not_negative(items: Iterable[Any], rules: tuple[tuple[str, str], ...]) -> None:
    for item in items:
        for field, sentence in rules:
            if getattr(item, field) < 0:
                raise BadInput(sentence, step=item.name, field=field)


def _policy(policy: Policy) -> None:
    money.places(policy.currency)
    for field in ("labour", "overhead", "material", "vendor", "bought_in"):
        checked_margin(getattr(policy, f"{field}_margin"), field=f"{field}_margin")
    checked_margin(policy.floor, field="floor")
    if not 0 <= policy.mixed_share < 1:
        raise BadInput("The share of mixed batches must be from 0 to less than 1.", field="mixed_share")
    checked_margin(policy.contingency_margin, field="contingency_margin")
    if policy.comebacks >= 1:
        raise BadInput("What is kept for comebacks is all of the cost. Give less than 100 %.", field="comebacks")
    if not 0 < policy.kept < 1:
        raise BadInput(
            "Prices hold for {kept} of the bikes. Give more than 0 % and less than 100 %.",
            field="kept",
            kept=policy.kept,
        )
    for field, sentence in (
        ("contingency_margin", "The margin on contingency is negative. Give 0 or more."),
        ("pace_spread", "The spread of a bike's hours is negative. Give 0 or more."),
        ("cap_share", "What a cap adds is negative. Give 0 or more."),
        ("overhead_rate", "The overhead rate is negative. Give 0 or more."),
        ("handling_rate", "The handling rate is negative. Give 0 or more."),
        ("comebacks", "What is kept for comebacks is negative. Give 0 or more."),
    ):
        if getattr(policy, field) < 0:
            raise BadInput(sentence, field=field)
    if policy.rounding not in (money.HALF_UP, money.HALF_DOWN):
        raise BadInput(
            "There is no rounding {rule}. Choose half up or half down.", field="rounding", rule=policy.rounding
        )


def _consumable(item: Consumable) -> None:
    if item.pack_size <= 0:
        raise BadInput("The pack size must be more than 0.", step=item.name, field="pack_size")
    if item.by is By.FILM and not 0 < item.solids <= 100:
        raise BadInput("The volume solids must be more than 0 % and at most 100 %.", step=item.name, field="solids")
    if item.by is By.POWDER and item.density <= 0:
        raise BadInput("The density must be more than 0 g/cm³.", step=item.name, field="density")


def _operation(operation: Operation) -> None:
    if operation.shop_factor <= 0:
        raise BadInput("The shop factor must be more than 0.", step=operation.name, field="shop_factor")
    if operation.capacity and operation.capacity_by is Measure.HOUR and operation.measure is not Measure.HOUR:
        raise BadInput(
            "Its place is filled by the hour, its time is not. Choose what the parts fill: pieces, dm², kg.",
            step=operation.name,
            field="capacity_by",
        )


def _usages(operation: Operation, consumables: dict[str, Consumable]) -> None:
    for usage in operation.usages:
        if usage.consumable not in consumables:
            raise BadInput("It uses a consumable that has no price yet.", step=operation.name, field="usages")
        if min(usage.amount, usage.waste, usage.film) < 0:
            raise BadInput("A usage is negative. Give 0 or more.", step=operation.name, field="usages")
        if not 0 < usage.transfer <= 1:
            raise BadInput(
                "The transfer efficiency must be more than 0 % and at most 100 %.",
                step=operation.name,
                field="transfer",
            )


def _parts(parts: tuple[Part, ...], taxes: tuple[TaxRate, ...]) -> None:
    codes = {tax.code for tax in taxes}
    seen: set[str] = set()
    for part in parts:
        if part.uid in seen:
            raise BadInput("This part is there twice.", part=part.name)
        seen.add(part.uid)
        for field in ("pieces", "openings", "spokes"):
            if getattr(part, field) < 0:
                raise BadInput("A count is negative. Give 0 or more.", part=part.name, field=field)
        for field in ("area", "weight"):
            if getattr(part, field) < 0:
                raise BadInput("A size is negative. Give 0 or more.", part=part.name, field=field)
        if part.cap is not None and part.cap < 0:
            raise BadInput("The cap is negative. Give 0 or more, or leave it empty.", part=part.name, field="cap")
        if part.contingency < 0:
            raise BadInput("A contingency is never negative.", part=part.name, field="contingency")
        for item in part.damages:
            damage.checked(item, part=part.name)
        if part.tax not in codes:
            raise BadInput("There is no tax rate for {code}. Add one.", part=part.name, field="tax", code=part.tax)
        _ways_back(part)


def _ways_back(part: Part) -> None:
    at = {step.uid: index for index, step in enumerate(part.steps)}
    for index, step in enumerate(part.steps):
        if step.factor < 0:
            raise BadInput(
                "The condition factor is negative. Give 0 or more.", part=part.name, step=step.name, field="factor"
            )
        if step.quantity is not None and step.quantity < 0:
            raise BadInput("A quantity is negative. Give 0 or more.", part=part.name, step=step.name, field="quantity")
        if step.ways_back:
            _ways_of(part, step, index, at)


def _ways_of(part: Part, step: Step, index: int, at: dict[str, int]) -> None:
    try:
        chances: list[Decimal] = []
        for way in step.ways_back:
            if way.to not in at:
                raise BadInput("A failed step sends the part back to a step that is not on its route.", field="back to")
            if way.replacement < 0:
                raise BadInput("The price of a replacement is negative. Give 0 or more.", field="replacement")
            rework.check(way.chance, at[way.to], index)
            chances.append(way.chance)
        rework.check_total(chances)
    except BadInput as error:
        raise error.at(part=part.name, step=step.name) from None
