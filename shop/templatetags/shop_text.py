from decimal import Decimal

from django import template

from shop import text
from shop.currency import code

register = template.Library()
register.filter("minutes", text.minutes)
register.filter("quantity", text.quantity)
register.filter("percent", text.percent)
register.filter("aligned", text.aligned)
register.filter("moment", text.moment)


@register.filter
def money(amount: Decimal, currency: str = "") -> str:
    """In the shop's currency, unless another is named: ``{{ total|money }}``, ``{{ total|money:"GBP" }}``."""
    return text.money(_decimal(amount), currency or code())


@register.filter
def rate(amount: Decimal, currency: str = "") -> str:
    return text.rate(_decimal(amount), currency or code())


def _decimal(amount: Decimal) -> Decimal:
    if not isinstance(amount, Decimal):
        raise TypeError(f"Money is a Decimal, not {type(amount).__name__} ({amount!r}).")
    return amount
