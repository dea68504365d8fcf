"""A shop that can price at once: methods and rates from readable files. See ``shop.methods.loading``."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, TypedDict

from django.conf import settings
from django.db import transaction

from quotes.engine import inputs
from shop.methods.loading import Told, by_name, kept, load_methods, noted, read
from shop.methods.loading_checks import load_checks
from shop.methods.loading_damage import load_damages
from shop.methods.loading_runs import load_run_checks
from shop.methods.models import Consumable, Operation, Service
from shop.people.models import Grade
from shop.rates import services
from shop.rates.models import Status

STARTER = Path(settings.BASE_DIR) / "fixtures"


#: Who noted what a shop did not note itself. No person signs in under it: it has a space in it.
STARTER_SET = "starter set"


class _Common(TypedDict):
    who: str
    now: datetime


class _Days:
    """When what the files tell was noted: as they say, or for a shop that begins empty, today and once."""

    def __init__(self, today: date, *, newest: bool) -> None:
        self.today, self.newest = today, newest

    def of(self, told: Sequence[Told]) -> list[tuple[date, Told]]:
        return noted(told, today=self.today, newest=self.newest)

    def one(self, told: Told) -> date:
        return self.of([told])[0][0]


def anything_there() -> bool:
    """Whether the shop has methods already, its own or from the starter."""
    return Operation.objects.exists()


@transaction.atomic
def load_starter(
    *,
    guessed: bool,
    tax: Decimal | None = None,
    price_by: str = "",
    today: date,
    who: str,
    now: datetime,
    folder: Path = STARTER,
) -> None:
    """Grades, places, methods, services, finishes, templates and rates, into a shop that has none.

    ``guessed``, as in a shop that begins empty: each price is a guess, noted today by the starter set and without a
    history, and vendors are called by their trade; else all is as the files say. ``tax`` is the shop's standard rate
    [%] and ``price_by`` how it sells labour, in place of those in the files; a rate of tax so given is ``who``'s own.
    """
    by: _Common = {"who": who, "now": now}
    common: _Common = {"who": STARTER_SET, "now": now} if guessed else by
    days = _Days(today, newest=guessed)
    rates = read(folder / "rates.toml")
    kept(Grade(name=told["name"], alone=told.get("alone", "")) for told in rates["grade"])
    load_methods(folder, by_trade=guessed, today=today, who=common["who"], now=now)
    load_damages(folder)
    load_run_checks(folder)
    load_checks(folder)
    _grade_rates(rates["grade"], days, common)
    _taxes(rates["tax"], tax, days, common if tax is None else by)
    _policy(rates["policy"] | ({"price_by": price_by} if price_by else {}), days, common)
    believed = {
        name: Decimal(value) for name, value in rates["odds"].items() if name not in {"days_ago", "credit_days"}
    }
    services.note_odds(
        valid_from=days.one(rates["odds"]), credit_days=rates["odds"]["credit_days"], **believed, **common
    )
    _consumable_prices(read(folder / "materials.toml")["consumable"], days, common, guessed=guessed)
    vendors = read(folder / "vendors.toml")["vendor"]
    _service_prices([told for vendor in vendors for told in vendor["service"]], days, common, guessed=guessed)


def _decimals(told: Told, *names: str) -> dict[str, Any]:
    return {name: Decimal(told[name]) for name in names if name in told}


def _status(told: Told, *, guessed: bool) -> str:
    return Status.GUESSED if guessed else Status(told["status"])


def _grade_rates(told: Sequence[Told], days: _Days, common: _Common) -> None:
    grades = by_name(Grade)
    for item in told:
        for day, rate in days.of(item["rate"]):
            services.note_grade_rate(
                grade=grades[item["name"]],
                valid_from=day,
                **_decimals(rate, "cost_rate", "charge_rate", "pace"),
                **common,
            )


def _taxes(told: Sequence[Told], tax: Decimal | None, days: _Days, common: _Common) -> None:
    for item in told if tax is None else told[:1]:
        for day, rate in days.of(item["rate"]):
            percent = Decimal(rate["percent"]) if tax is None else tax
            services.note_tax_rate(code=item["code"], name=item["name"], percent=percent, valid_from=day, **common)


def _policy(told: Told, days: _Days, common: _Common) -> None:
    terms = {name: value for name, value in told.items() if name not in {"days_ago", "stage", "handling_grade"}}
    exact: Told = {name: Decimal(value) if isinstance(value, int) else value for name, value in terms.items()}
    exact["validity_days"] = terms["validity_days"]
    services.note_policy(
        valid_from=days.one(told),
        stages=[
            inputs.PaymentStage(s["name"], Decimal(s["percent"]), s["due"], s["event"], s.get("days", 0))
            for s in told["stage"]
        ],
        handling_grade=by_name(Grade)[told["handling_grade"]],
        **exact,
        **common,
    )


def _consumable_prices(told: Sequence[Told], days: _Days, common: _Common, *, guessed: bool) -> None:
    consumables = by_name(Consumable)
    for item in told:
        for day, price in days.of(item["prices"]):
            services.note_consumable_price(
                consumable=consumables[item["name"]],
                valid_from=day,
                pack_size=Decimal(item["pack_size"]),
                pack_price=Decimal(price["price"]),
                status=_status(price, guessed=guessed),
                **common,
            )


def _service_prices(told: Sequence[Told], days: _Days, common: _Common, *, guessed: bool) -> None:
    known, grades = by_name(Service), by_name(Grade)
    for item in told:
        for day, price in days.of(item["price"]):
            services.note_service_price(
                service=known[item["name"]],
                valid_from=day,
                breaks=[inputs.Break(Decimal(quantity), Decimal(rate)) for quantity, rate in price["breaks"]],
                handling_grade=grades[price["handling_grade"]],
                status=_status(price, guessed=guessed),
                **_decimals(price, "lot_charge", "minimum", "trip", "trip_share", "handling"),
                **common,
            )
