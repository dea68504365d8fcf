from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from quotes.desk import example, example_customer, example_floor, example_money, example_orders, example_vendor
from quotes.engine.results import Result
from quotes.pricing.models import Draft
from quotes.pricing.selectors import priced
from shop import currency
from shop.routes import tasks
from shop.text import minutes, money

CLASSES = {
    "labour": "labour",
    "overhead": "overhead",
    "material": "consumables",
    "vendor": "vendor work",
    "bought_in": "bought-in parts",
}


class Command(BaseCommand):
    help = "Load the invented example workshop into a shop that is not in use yet, and say what its bikes cost."

    def handle(self, *_args: Any, **_options: Any) -> None:
        if example.in_use():
            self.stdout.write("This shop holds data already: the example workshop was not loaded.")
            return
        now = timezone.now()
        sign_ins = example.load(today=timezone.localdate(now), now=now)
        example_money.live(today=timezone.localdate(now), now=now)
        example_customer.live(now=now)
        tasks.mend(now=now)
        example_floor.live(now=now)
        example_vendor.live(now=now)
        example_orders.live(now=now)
        self.stdout.write("The example workshop is loaded. Sign in as")
        for person in sign_ins:
            self.stdout.write(f"  {person.username:10} {person.password:26} ({person.name})")
        self.stdout.write("These passwords are public: change them before anything real is kept here.")
        for draft in Draft.objects.select_related("restoration__customer").order_by("restoration__begun_on"):
            for line in _summary(draft):
                self.stdout.write(line)


def _summary(draft: Draft) -> Iterator[str]:
    """What a bike costs, in two lines."""
    found = priced(draft)
    name = f"{draft.restoration.title}, {draft.restoration.customer}"
    if found.explained is None:
        yield f"{name}: {found.error}"
        return
    result = found.explained.result
    blocking = sum(remark.blocking for remark in found.explained.remarks)
    yield (
        f"{name}: {len(result.lines)} parts, {minutes(result.minutes)}, net {money(result.net, currency.code())}"
        + (f", {blocking} to settle before it can be issued" if blocking else "")
    )
    yield "  " + ", ".join(_costs(result))


def _costs(result: Result) -> Iterator[str]:
    for field, label in CLASSES.items():
        cost = sum(getattr(line, field) for line in result.lines)
        yield f"{label} {round(cost)}"
