"""A shop that can price at once: methods and rates from readable files. See ``shop.methods.loading``."""

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, TypedDict

from django.conf import settings
from django.db import transaction

from quotes.engine import inputs
from shop.methods.loading import Told, by_name, kept, load_methods, read
from shop.methods.loading_damage import load_damages
from shop.methods.models import Consumable, Operation, Service
from shop.people.models import Grade
from shop.rates import services
from shop.rates.models import Status

STARTER = Path(settings.BASE_DIR) / "fixtures"


class _Common(TypedDict):
    who: str
    now: datetime


def anything_there() -> bool:
    """Whether the shop has methods already, its own or from the starter."""
    return Operation.objects.exists()


@transaction.atomic
def load_starter(
    *, guessed: bool, tax: Decimal | None = None, today: date, who: str, now: datetime, folder: Path = STARTER
) -> None:
    """Grades, places, methods, services, finishes, templates and rates, into a shop that has none.

    ``guessed`` says of every price that it is a guess and calls vendors by their trade, as in a shop that begins
    empty; else they are as the files say. ``tax`` is the shop's standard rate [%], in place of those in the files.
    """
    common: _Common = {"who": who, "now": now}
    rates = read(folder / "rates.toml")
    kept(Grade(name=told["name"], alone=told.get("alone", "")) for told in rates["grade"])
    load_methods(folder, by_trade=guessed, today=today, who=who, now=now)
    load_damages(folder)
    days = _days(today)
    _grade_rates(rates["grade"], days, common)
    _taxes(rates["tax"], tax, days, common)
    _policy(rates["policy"], days, common)
    believed = {
        name: Decimal(value) for name, value in rates["odds"].items() if name not in {"days_ago", "credit_days"}
    }
    services.note_odds(valid_from=days(rates["odds"]), credit_days=rates["odds"]["credit_days"], **believed, **common)
    _consumable_prices(read(folder / "materials.toml")["consumable"], days, common, guessed=guessed)
    vendors = read(folder / "vendors.toml")["vendor"]
    _service_prices([told for vendor in vendors for told in vendor["service"]], days, common, guessed=guessed)


def _days(today: date) -> Callable[[Told], date]:
    return lambda told: today - timedelta(days=told["days_ago"])


def _decimals(told: Told, *names: str) -> dict[str, Any]:
    return {name: Decimal(told[name]) for name in names if name in told}


def _status(told: Told, *, guessed: bool) -> str:
    return Status.GUESSED if guessed else Status(told["status"])


def _grade_rates(told: Sequence[Told], days: Callable[[Told], date], common: _Common) -> None:
    grades = by_name(Grade)
    for item in told:
        for rate in item["rate"]:
            services.note_grade_rate(
                grade=grades[item["name"]],
                valid_from=days(rate),
                **_decimals(rate, "cost_rate", "charge_rate", "pace"),
                **common,
            )


def _taxes(told: Sequence[Told], tax: Decimal | None, days: Callable[[Told], date], common: _Common) -> None:
    for item in told if tax is None else told[:1]:
        for rate in item["rate"]:
            percent = Decimal(rate["percent"]) if tax is None else tax
            services.note_tax_rate(
                code=item["code"], name=item["name"], percent=percent, valid_from=days(rate), **common
            )


def _policy(told: Told, days: Callable[[Told], date], common: _Common) -> None:
    terms = {name: value for name, value in told.items() if name not in {"days_ago", "stage", "handling_grade"}}
    exact: Told = {name: Decimal(value) if isinstance(value, int) else value for name, value in terms.items()}
    exact["validity_days"] = terms["validity_days"]
    services.note_policy(
        valid_from=days(told),
        stages=[
            inputs.PaymentStage(s["name"], Decimal(s["percent"]), s["due"], s["event"], s.get("days", 0))
            for s in told["stage"]
        ],
        handling_grade=by_name(Grade)[told["handling_grade"]],
        **exact,
        **common,
    )


def _consumable_prices(told: Sequence[Told], days: Callable[[Told], date], common: _Common, *, guessed: bool) -> None:
    consumables = by_name(Consumable)
    for item in told:
        for price in item["prices"]:
            services.note_consumable_price(
                consumable=consumables[item["name"]],
                valid_from=days(price),
                pack_size=Decimal(item["pack_size"]),
                pack_price=Decimal(price["price"]),
                status=_status(price, guessed=guessed),
                **common,
            )


def _service_prices(told: Sequence[Told], days: Callable[[Told], date], common: _Common, *, guessed: bool) -> None:
    known, grades = by_name(Service), by_name(Grade)
    for item in told:
        for price in item["price"]:
            services.note_service_price(
                service=known[item["name"]],
                valid_from=days(price),
                breaks=[inputs.Break(Decimal(quantity), Decimal(rate)) for quantity, rate in price["breaks"]],
                handling_grade=grades[price["handling_grade"]],
                status=_status(price, guessed=guessed),
                **_decimals(price, "lot_charge", "minimum", "trip", "trip_share", "handling"),
                **common,
            )
