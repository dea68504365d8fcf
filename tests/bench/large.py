"""A restoration of some 1,500 steps in a shop that is running, laid out by the shop's own finishes.

``BAREFRAME_HOME=… python -m tests.bench.large`` adds it and prints its address and its number of steps.
"""

import os
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from itertools import cycle
from typing import Any

STEPS = 1_500
D = Decimal


def rows(wanted: int) -> Iterator[dict[str, Any]]:
    """Parts of many sizes with every finish the shop has a route for on their material, until they have enough steps."""
    from shop.methods.models import FinishRoute

    routes = FinishRoute.objects.filter(direction=FinishRoute.Direction.APPLY).select_related("finish")
    known = [(route, route.steps.count()) for route in routes.order_by("finish__name", "material")]
    steps = 0
    for number, (route, count) in enumerate(cycle(known)):
        if steps >= wanted:
            return
        steps += count
        yield {
            "name": f"Part {number}",
            "area_name": f"Area {number % 12}",
            "material": route.material,
            "finish": route.finish,
            "pieces": 1 + number % 4,
            "area": D(3 + number % 17) + D(number % 7) / 10,
            "weight": D("0.2") + D(number % 11) / 10,
            "strength": 400,
            "openings": number % 3,
        }


def main() -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    django.setup()
    from django.utils import timezone

    from quotes.desk.services import begin_restoration
    from shop.restorations.models import Customer
    from shop.routes.models import Step

    now = timezone.now()
    made = begin_restoration(
        customer=Customer.objects.first() or {"name": "Somebody"},
        machine={"maker": "Measured", "model": "Large"},
        title="Measured large",
        begun_on=date(2026, 1, 5),
        rows=list(rows(STEPS)),
        today=timezone.localdate(now),
        who="bench",
        now=now,
    )
    print(made.uid, Step.objects.filter(part__restoration=made).count())


if __name__ == "__main__":
    main()
