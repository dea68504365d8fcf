"""What a page of a bike says while its numbers do not match."""

from typing import Any

from django import template

from shop.restorations.models import Restoration
from shop.restorations.numbers import standing

register = template.Library()


@register.inclusion_tag("desk/_numbers_stop.html")
def numbers_stop(restoration: Restoration) -> dict[str, Any]:
    """That numbers do not match, with the way to where they are; nothing where they do."""
    return {"restoration": restoration, "numbers": standing(restoration)}
