"""Sums and days as they stand in a comparison."""

import json
from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django import template
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from quotes.desk.showing import Area
from quotes.engine.money import places, rounded
from shop import currency, text
from shop.papers.pictures import sums
from shop.restorations.models import Part

register = template.Library()


@register.filter
def money_rounded(amount: Decimal) -> str:
    """A cost, which has no end, in whole minor units."""
    return text.money(rounded(amount, digits=places(currency.code())), currency.code())


@register.filter
def money_change(amount: Decimal) -> str:
    """A difference with its sign; nothing where it is none."""
    shown = rounded(amount, digits=places(currency.code()))
    if not shown:
        return "–"
    words = text.money(shown, currency.code())
    return f"+{words}" if shown > 0 else words.replace("-", text.MINUS)


@register.filter
def days_change(days: Decimal | None) -> str:
    """Days later or sooner; nothing where the day stays, or is not known."""
    return sums.days_off(days) if days else "–"


@register.filter
def iso_day(day: str) -> str:
    """An ISO day as people write it."""
    return date_format(date.fromisoformat(day), "DATE_FORMAT") if day else _("not planned")


@register.simple_tag
def other_prices(areas: Iterable[Area], part: Part | str) -> SafeString:
    """The price of every row but that of ``part``, as one list that ``prices.js`` puts where they belong."""
    own = getattr(part, "pk", None)
    rows = [row for area in areas for row in area.rows if row.part.pk != own]
    priced = [(str(row.part.uid), "–" if row.price is None else text.money(row.price, currency.code())) for row in rows]
    return format_html('<div id="prices" hidden hx-swap-oob="true" data-prices="{}"></div>', json.dumps(priced))
