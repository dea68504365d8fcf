"""Search over a large shop, on both engines: what stands in the head of every page, while somebody types."""

from collections.abc import Callable, Iterator
from datetime import date
from itertools import islice, product

from tests.bench.made_shop import made_shop, with_both_engines
from tests.bench.measure import WALL, side_by_side

PARTS, CUSTOMERS, BIKES = 20_000, 5_000, 500
TARGET = 100
NAMES = ("Jo", "Ann", "Zoë", "Émile", "Łucja", "Örjan", "Jürgen", "Ivo", "Marta", "Noor")
SURNAMES = ("Fenwick", "Marsh", "Öztürk", "Quandt", "Łukasik", "Çelik", "Ransley", "Šimek", "Oakes", "Varga")
PLACES = ("Front", "Rear", "Left", "Right", "Upper", "Lower", "Inner", "Outer")
THINGS = ("mudguard", "hub", "brake plate", "lever", "clip", "bracket", "Kotflügel", "écrou", "fork leg", "spindle")
TERMS = ("fenwick", "OZTÜRK", "kotflugel", "upper brake", "h-12 34", "q123", "zzzz", "le", "0163 2")


def lines() -> Iterator[str]:
    yield from with_both_engines("tests.bench.search")


def fill() -> None:
    """Rows without services: what is measured is how they are found."""
    from shop.restorations.models import Customer, Machine, Part, Restoration

    people = (f"{first} {last} {number}" for number, (first, last) in enumerate(product(NAMES, SURNAMES * 50)))
    Customer.objects.bulk_create(
        Customer(name=name, email=f"c{number}@example.org", phone=f"+44 1632 {number:06}")
        for number, name in enumerate(islice(people, CUSTOMERS))
    )
    machines = [
        Machine(maker="Measured", model=f"{n}", frame_number=f"H {n:05}-{n % 97}", engine_number=f"E{n:06}")
        for n in range(BIKES)
    ]
    Machine.objects.bulk_create(machines)
    customers = list(Customer.objects.order_by("pk")[:BIKES])
    bikes = [
        Restoration(customer=customer, machine=machine, title=f"Bike {n}", begun_on=date(2026, 1, 5))
        for n, (customer, machine) in enumerate(zip(customers, machines, strict=True))
    ]
    Restoration.objects.bulk_create(bikes)
    each = PARTS // BIKES
    Part.objects.bulk_create(
        (
            Part(restoration=bike, position=n, name=f"{PLACES[n % 8]} {THINGS[n % 10]} {n}")
            for bike in bikes
            for n in range(each)
        ),
        batch_size=2_000,
    )


def main() -> None:
    with made_shop():
        from django.db import connection
        from django.test import Client

        from shop.people.models import User
        from shop.people.services import add_person
        from shop.restorations.models import Customer, Part

        fill()
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("ANALYZE")
        assert (Part.objects.count(), Customer.objects.count()) == (PARTS, CUSTOMERS)
        client = Client()
        client.force_login(add_person(username="bench", name="Bench", password="cold workshop 7", roles=["desk"]))
        last = Customer.objects.latest("pk").pk

        def typed(term: str) -> Callable[[], object]:
            return lambda: client.get(
                "/search/", {"search": term}, headers={"HX-Target": "found", "HX-Request": "true"}
            )

        bare, *times = side_by_side(
            lambda: Customer.objects.get(pk=last), *(typed(term) for term in TERMS), rounds=15, clock=WALL
        )
        assert User.objects.count() == 1
        told = ", ".join(f"“{term}” {taken * 1e3:.0f}" for term, taken in zip(TERMS, times, strict=True))
        print(
            f"{PARTS:,} parts and {CUSTOMERS:,} customers searched, the whole answer, median ms: {told}; worst "
            f"{max(times) * 1e3:.0f} ms (target {TARGET} ms), {max(times) / bare:.0f} times a bare look-up by key "
            f"({bare * 1e3:.2f} ms)"
        )


if __name__ == "__main__":
    main()
