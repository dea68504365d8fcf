"""Small whole restorations for tests: everything has a plain default, a test names only what it is about."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

import pytest

from quotes.engine import inputs
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Break, By, Measure, OverheadBy, PriceBy, Remedy, WayBack, Work
from quotes.engine.results import Explained
from quotes.engine.rollup import price

D = Decimal
NOTHING_ADDED = {f"{name}_margin": D(0) for name in ("labour", "overhead", "material", "vendor", "bought_in")}


def policy(**changes: Any) -> inputs.Policy:
    """Cost is price, no overhead, no handling rate: what a figure is can be seen."""
    plain: dict[str, Any] = {
        "currency": "EUR",
        "price_by": PriceBy.MARGIN,
        "floor": D(0),
        "overhead_by": OverheadBy.HOURS,
        "overhead_rate": D(0),
        "handling_rate": D(0),
        **NOTHING_ADDED,
    }
    return inputs.Policy(**(plain | changes))


def grade(key: str = "mechanic", **changes: Any) -> inputs.Grade:
    plain: dict[str, Any] = {"name": key, "cost_rate": D(60), "charge_rate": D(90)}
    return inputs.Grade(key=key, **(plain | changes))


def operation(key: str = "work", **changes: Any) -> inputs.Operation:
    plain: dict[str, Any] = {
        "name": key,
        "grade": "mechanic",
        "setup": D(0),
        "run": D(1),
        "measure": Measure.PIECE,
    }
    return inputs.Operation(key=key, **(plain | changes))


def consumable(key: str = "paint", **changes: Any) -> inputs.Consumable:
    plain: dict[str, Any] = {"name": key, "unit": "l", "by": By.MEASURE, "pack_size": D(1), "pack_price": D(10)}
    return inputs.Consumable(key=key, **(plain | changes))


def service(key: str = "zinc", rates: Iterable[tuple[Any, Any]] = ((0, 1),), **changes: Any) -> inputs.Service:
    plain: dict[str, Any] = {"name": key, "vendor": "a plater", "measure": Measure.KG}
    breaks = tuple(Break(D(quantity), D(rate)) for quantity, rate in rates)
    return inputs.Service(key=key, breaks=breaks, **(plain | changes))


def purchase(key: str = "bearing", **changes: Any) -> inputs.Purchase:
    plain: dict[str, Any] = {"name": key, "origin": "reproduction", "unit_price": D(10)}
    return inputs.Purchase(key=key, **(plain | changes))


def step(uid: str, ref: str = "work", work: Work = Work.OPERATION, **changes: Any) -> inputs.Step:
    return inputs.Step(uid=uid, name=changes.pop("name", uid), work=work, ref=ref, **changes)


def part(uid: str, *steps: inputs.Step, **changes: Any) -> inputs.Part:
    plain: dict[str, Any] = {"name": uid, "pieces": 1, "area": D(1), "weight": D(1)}
    return inputs.Part(uid=uid, steps=steps, **(plain | changes))


def back(chance: Any, to: str, *remedies: Remedy, replacement: Any = 0) -> WayBack:
    return WayBack(chance=D(chance), to=to, remedies=remedies, replacement=D(replacement))


def restoration(*parts: inputs.Part, **changes: Any) -> inputs.Restoration:
    plain: dict[str, Any] = {
        "title": "A twin of the thirties",
        "priced_on": "2026-01-01",
        "policy": policy(),
        "taxes": (inputs.TaxRate("standard", "VAT", D("0.2")),),
        "grades": (grade(),),
        "consumables": (consumable(),),
        "operations": (operation(),),
        "services": (service(),),
        "purchases": (purchase(),),
    }
    return inputs.Restoration(parts=parts, **(plain | changes))


def priced(*parts: inputs.Part, **changes: Any) -> Explained:
    return price(restoration(*parts, **changes))


def refused(*parts: inputs.Part, **changes: Any) -> BadInput:
    """The error that a restoration is refused with."""
    with pytest.raises(BadInput) as caught:
        priced(*parts, **changes)
    return caught.value


def close(one: Decimal, other: Decimal) -> bool:
    """Equal to twenty digits: what is left of unrounded sums taken in another order."""
    return abs(one - other) <= max(abs(one), abs(other)) * Decimal("1e-20")
