"""Figures as people of the shop read them, in the language of the page. None of these takes a float."""

from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from functools import cache, lru_cache

from babel import Locale, UnknownLocaleError
from babel.numbers import NumberPattern, format_decimal, format_percent, parse_pattern
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import get_language, gettext, to_locale

from quotes.engine.money import places

FIXED_SPACE = "\N{NO-BREAK SPACE}"
FIGURE_SPACE = "\N{FIGURE SPACE}"
POINT_SPACE = "\N{PUNCTUATION SPACE}"
MINUS = "\N{MINUS SIGN}"
RATE_PLACES = 4


def money(amount: Decimal, currency: str) -> str:
    """``amount`` must be whole minor units already: a page rounds no money."""
    digits = places(currency)
    if _exact(amount) != round(amount, digits):
        raise ValueError(f"{amount} is not rounded to the minor unit of {currency}; show it as a rate or round it.")
    return _currency(amount, currency, least=digits, most=digits)


def rate(amount: Decimal, currency: str) -> str:
    """A price for each measure: the decimals of the currency, and up to four where it has them."""
    shown = _exact(amount).quantize(Decimal(1).scaleb(-RATE_PLACES), rounding=ROUND_HALF_UP)
    return _currency(shown, currency, least=places(currency), most=max(RATE_PLACES, places(currency)))


def minutes(count: Decimal | int) -> str:
    """``135`` is "2 h 15 min"; parts of a minute are rounded half up, but never to nothing."""
    whole = int(abs(_exact(count)).quantize(Decimal(1), rounding=ROUND_HALF_UP))
    if not whole and count:
        return gettext("under 1 min").replace(" ", FIXED_SPACE)
    hours, rest = divmod(whole, 60)
    parts = [gettext("%(count)s h") % {"count": hours}] if hours else []
    if rest or not hours:
        parts.append(gettext("%(count)s min") % {"count": rest})
    return (MINUS if count < 0 else "") + " ".join(parts).replace(" ", FIXED_SPACE)


def quantity(amount: Decimal | int, unit: str = "") -> str:
    """No zeros at the end, and the unit kept on the same line."""
    shown = _written(str(_exact(amount)), locale())
    return f"{shown}{FIXED_SPACE}{unit}" if unit else shown


def aligned(amount: Decimal | int, places: int) -> str:
    """A quantity for a column: what it lacks of ``places`` decimals is left as wide as figures, so that the marks stand in line."""
    shown = quantity(amount)
    mark = Locale.parse(locale()).number_symbols["latn"]["decimal"]
    decimals = len(shown.partition(mark)[2])
    return shown + ("" if decimals else POINT_SPACE * bool(places)) + FIGURE_SPACE * max(places - decimals, 0)


def percent(fraction: Decimal | int) -> str:
    """``0.125`` is "12.5%"; at most two decimals, half up."""
    shown = _exact(fraction).quantize(Decimal("0.0001"), rounding=ROUND_HALF_UP)
    return _percent(str(shown), locale())


def day(when: date) -> str:
    """The one way in which days are written, as by ``|date:"DATE_FORMAT"``: "2 March 2026", in the language of the page."""
    return date_format(when, "DATE_FORMAT")


def moment(when: datetime) -> str:
    """A day and the time on the shop's clock: "2 March 2026, 14:05"."""
    local = timezone.localtime(when) if timezone.is_aware(when) else when
    return f"{day(local)}, {local:%H:%M}"


def _exact(amount: Decimal | int) -> Decimal:
    if isinstance(amount, bool) or not isinstance(amount, Decimal | int):
        raise TypeError(f"A figure is a Decimal or a whole number, not {type(amount).__name__} ({amount!r}).")
    number = Decimal(amount)
    if not number.is_finite():
        raise ValueError(f"{amount} is not a figure.")
    return number


def _currency(amount: Decimal, currency: str, *, least: int, most: int) -> str:
    return _priced(str(amount), currency, locale(), least, most)


# A page shows the same figures many times over, and the next page shows them again. The digits are asked for as text,
# since decimals that are equal need not be written alike.
@lru_cache(maxsize=8192)
def _priced(digits: str, currency: str, name: str, least: int, most: int) -> str:
    locale, pattern = _pattern(name, least, most)
    shown: str = pattern.apply(Decimal(digits), locale, currency=currency, currency_digits=False)
    return shown


@lru_cache(maxsize=8192)
def _written(digits: str, name: str) -> str:
    return format_decimal(Decimal(digits), format="#,##0.######", locale=name, decimal_quantization=False)


@lru_cache(maxsize=1024)
def _percent(digits: str, name: str) -> str:
    pattern = Locale.parse(name).percent_formats[None].pattern.replace("#,##0", "#,##0.##")
    return format_percent(Decimal(digits), format=pattern, locale=name)


@cache
def _pattern(name: str, least: int, most: int) -> tuple[Locale, NumberPattern]:
    """How a language writes money, read once: a page of hundreds of prices would read it for each."""
    locale, decimals = Locale.parse(name), "0" * least + "#" * (most - least)
    standard = locale.currency_formats["standard"].pattern
    return locale, parse_pattern(standard.replace("0.00", f"0.{decimals}" if decimals else "0"))


def locale() -> str:
    """The page's language with what it says of the country; numbers of an unknown one look English."""
    return _known(get_language() or "en-gb")


@cache
def _known(language: str) -> str:
    name = to_locale(language)
    try:
        Locale.parse(name)
    except (UnknownLocaleError, ValueError):
        return "en_GB"
    return name
