"""Values of the journal that no field explains: moments, sums and names of things as people write them."""

import re
from datetime import datetime
from decimal import Decimal, InvalidOperation

from django.utils.dateparse import parse_datetime

from shop import currency, text

#: Keys under which the journal keeps sums of money in whole units.
SUMS = {"total", "price", "net", "tax", "discount", "amount", "fee"}
UID = re.compile(r"[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}", re.IGNORECASE)


def is_only_for_machines(said: object) -> bool:
    """Whether a value is what a machine calls a thing by: nobody can read anything in it."""
    if isinstance(said, list):
        return bool(said) and all(map(is_only_for_machines, said))
    return isinstance(said, str) and bool(UID.fullmatch(said))


def is_empty(said: object) -> bool:
    return said is None or said in ("", [], {})


def in_words(key: str, said: object) -> str:
    """A moment by the shop's clock, a sum as money, anything else as it is."""
    if isinstance(said, str):
        if (when := _moment(said)) is not None:
            return text.moment(when)
        if key in SUMS and (amount := _amount(said)) is not None:
            return text.money(amount, currency.code())
    return str(said)


def _moment(said: str) -> datetime | None:
    try:
        return parse_datetime(said) if "T" in said else None
    except ValueError:
        return None


def _amount(said: str) -> Decimal | None:
    try:
        amount = Decimal(said)
        text.money(amount, currency.code())
    except (InvalidOperation, ValueError):
        return None
    return amount
