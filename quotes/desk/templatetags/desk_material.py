from decimal import ROUND_HALF_UP, Decimal

from django import template

from shop import text

register = template.Library()

THOUSANDTH = Decimal("0.001")


def _short(amount: Decimal) -> Decimal:
    return amount.quantize(THOUSANDTH, rounding=ROUND_HALF_UP)


@register.filter
def quantity_3(amount: Decimal, unit: str = "") -> str:
    """An amount as it is counted: to the thousandth."""
    return text.quantity(_short(amount), unit)


@register.filter
def signed(amount: Decimal, unit: str = "") -> str:
    """With its sign, so that more and less are told apart by more than a colour."""
    return ("+" if _short(amount) > 0 else "") + quantity_3(amount, unit)


@register.filter
def signed_percent(part: Decimal) -> str:
    return ("+" if part > 0 else "") + text.percent(part)
