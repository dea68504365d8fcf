"""What no contingency can be worked out from is refused here, with the place and what to do."""

from collections.abc import Iterable, Mapping
from decimal import Decimal

from quotes.engine.chance.fixed_lines import CONSUMABLE, Thing
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Consumable, Policy, Purchase, Restoration, Service, Work
from quotes.engine.results import Branch


def policy(of: Policy) -> None:
    """Raise `BadInput` unless prices are to be kept sometimes, and no spread is negative."""
    if not 0 < of.kept < 1:
        raise BadInput(
            "Prices cannot be kept {kept} of the time. Give more than 0 and less than 1, such as 0.8 for 4 in 5.",
            field="kept",
            kept=of.kept,
        )
    if of.pace_spread < 0:
        raise BadInput("The spread of the pace is negative. Give 0 or more.", field="pace_spread")
    for status, spread in of.status_spreads:
        if spread < 0:
            raise BadInput(
                "The spread of prices that are {status} is negative. Give 0 or more.",
                field="status_spreads",
                status=status,
            )


def operations(restoration: Restoration) -> None:
    """Raise `BadInput` when the speed of an operation has a negative spread."""
    for operation in restoration.operations:
        if operation.spread < 0:
            raise BadInput("The spread of its time is negative. Give 0 or more.", step=operation.name, field="spread")


def branch(of: Branch, names: Mapping[str, str]) -> None:
    """Raise `BadInput` unless the chance is one and the three costs are in order; ``names`` are those of the parts."""
    part = names.get(of.part, "")
    if not 0 <= of.chance <= 1:
        raise BadInput(
            "“{name}” has a chance of {chance}. Give 0 to 1.", part=part, field="chance", name=of.name, chance=of.chance
        )
    if not 0 <= of.low <= of.likely <= of.high:
        raise BadInput(
            "“{name}” costs {low}, {likely}, {high}: give 0 or more, in order: at least, most likely, at most.",
            part=part,
            field="likely",
            name=of.name,
            low=of.low,
            likely=of.likely,
            high=of.high,
        )


def statuses(restoration: Restoration, things: Iterable[Thing]) -> list[float]:
    """The spread (CV) of each thing's price by its status; `BadInput` for a status without one."""
    spreads = dict(restoration.policy.status_spreads)
    items: dict[Thing, Consumable | Service | Purchase] = {
        **{(CONSUMABLE, item.key): item for item in restoration.consumables},
        **{(Work.SERVICE.value, item.key): item for item in restoration.services},
        **{(Work.PURCHASE.value, item.key): item for item in restoration.purchases},
    }
    return [float(_spread(items[thing].name, items[thing].status, spreads)) for thing in things]


def _spread(name: str, status: str, spreads: Mapping[str, Decimal]) -> Decimal:
    if status not in spreads:
        raise BadInput(
            "Nothing says how far a price strays that is {status}. Add its spread to the policy.",
            step=name,
            field="status_spreads",
            status=status,
        )
    return spreads[status]
