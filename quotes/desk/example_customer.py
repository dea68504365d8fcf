"""What was shared with a customer of the example workshop, and what he asked: see ``fixtures/demo/customer.toml``."""

from datetime import datetime, timedelta
from pathlib import Path

from django.db import transaction

from quotes.pricing.customers import messages, sharing
from shop.methods.loading import Told, read
from shop.rates.loading import STARTER
from shop.restorations.models import Restoration

WHO = "desk"


@transaction.atomic
def live(*, now: datetime, folder: Path = STARTER) -> None:
    for told in read(folder / "demo" / "customer.toml")["job"]:
        restoration = Restoration.objects.get(customer__name=told["customer"])
        for item in told["shared"]:
            sharing.share(restoration=restoration, note=item["note"], who=WHO, now=now - _days(item["days_ago"]))
        for item in told["asked"]:
            _ask(restoration, told["customer"], item, now=now)


def _ask(restoration: Restoration, name: str, item: Told, *, now: datetime) -> None:
    asked = now - _days(item["days_ago"])
    question = messages.ask(restoration=restoration, text=item["text"], name=name, who="customer, by link", now=asked)
    if "answer" in item:
        messages.answer(question=question, text=item["answer"], who=WHO, now=now - _days(item["answered_days_ago"]))


def _days(count: int) -> timedelta:
    return timedelta(days=count)
