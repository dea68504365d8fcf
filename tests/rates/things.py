"""Things that can have a rate, in any number."""

from datetime import UTC, date, datetime
from decimal import Decimal

from shop.methods.models import Consumable, Operation, Place, Service, Usage, Vendor
from shop.people.models import Grade

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
JANUARY, MARCH, MAY = date(2026, 1, 5), date(2026, 3, 2), date(2026, 5, 4)


def grade(name: str = "Mechanic") -> Grade:
    return Grade.objects.create(name=name)


def consumable(name: str = "Zinc primer", **fields: object) -> Consumable:
    return Consumable.objects.create(name=name, unit="l", **fields)


def operation(name: str = "Blast", **fields: object) -> Operation:
    if "grade" not in fields:
        fields["grade"] = Grade.objects.get_or_create(name="Mechanic")[0]
    return Operation.objects.create(name=name, **{"measure": "dm2"} | fields)


def service(name: str = "Zinc plating", vendor: str = "Fell Plating") -> Service:
    owner = Vendor.objects.get_or_create(name=vendor)[0]
    return Service.objects.create(name=name, vendor=owner, measure="kg")


def use(of: Operation, what: Consumable, amount: str = "0.1") -> Usage:
    return Usage.objects.create(operation=of, consumable=what, amount=Decimal(amount))


def place(name: str = "Blast cabinet") -> Place:
    return Place.objects.create(name=name, capacity=Decimal("60.5"), capacity_by="dm2")
