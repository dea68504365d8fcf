"""Figures as they are written on a sketch: whole pounds, whole days."""

from decimal import ROUND_HALF_UP, Decimal

from babel import Locale, UnknownLocaleError
from babel.numbers import format_currency
from django.utils.translation import get_language, ngettext, to_locale
from django.utils.translation import gettext as _

from quotes.engine.money import places
from shop import text

DAYS = "days"
DAYS_OFF = "days off"
# Below this a sum's pence still say something.
SMALL = 100


def said(value: Decimal, unit: str) -> str:
    """``value`` in whole ``unit``: a currency's code, ``DAYS``, or ``DAYS_OFF`` for days later than planned."""
    if unit == DAYS_OFF:
        return days_off(value)
    return days(value) if unit == DAYS else money(value, unit)


def money(amount: Decimal, currency: str) -> str:
    """Rounded to whole pounds, euros or crowns; a sum below a hundred keeps its minor units."""
    if abs(amount) < SMALL:
        return text.money(_rounded(amount, places(currency)), currency)
    return format_currency(_rounded(amount), currency, format=_pattern(), locale=_locale(), currency_digits=False)


def days(count: Decimal) -> str:
    whole = int(_rounded(count))
    return (ngettext("%(count)s day", "%(count)s days", abs(whole)) % {"count": whole}).replace("-", text.MINUS)


def days_off(count: Decimal) -> str:
    if not _rounded(count):
        return _("as planned")
    words = _("%(days)s later") if count > 0 else _("%(days)s sooner")
    return words % {"days": days(abs(count))}


def _rounded(amount: Decimal, digits: int = 0) -> Decimal:
    return amount.quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_UP)


def _pattern() -> str:
    pattern: str = Locale.parse(_locale()).currency_formats["standard"].pattern
    return pattern.replace("0.00", "0")


def _locale() -> str:
    name = to_locale(get_language() or "en-gb")
    try:
        Locale.parse(name)
    except (UnknownLocaleError, ValueError):
        return "en_GB"
    return name
