"""Pieces of the list of prices to confirm."""

from collections.abc import Sequence
from typing import Any

from django import template
from django.urls import reverse
from django.utils.translation import gettext as _

from quotes.pricing.confirming import Kind, Unsure
from shop.restorations.models import Restoration

register = template.Library()
SHOWN = 3
ADDRESSES = {
    Kind.PURCHASE: "desk:note_purchase",
    Kind.SERVICE: "desk:note_service",
    Kind.CONSUMABLE: "desk:note_consumable",
}


@register.filter
def few(names: Sequence[Any]) -> str:
    """The first names of a list, and how many more there are."""
    said = ", ".join(str(name) for name in names[:SHOWN])
    left = len(names) - SHOWN
    return said if left <= 0 else _("%(names)s and %(count)s more") % {"names": said, "count": left}


@register.simple_tag
def price_address(restoration: Restoration, item: Unsure) -> str:
    """Where a better price of ``item`` goes."""
    return reverse(ADDRESSES[item.kind], args=[restoration.uid, item.key])
