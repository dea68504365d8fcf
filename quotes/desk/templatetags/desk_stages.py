"""Pieces of the restoration's page: possible damage of a part, and what the customer has not agreed to yet."""

from decimal import Decimal
from typing import Any

from django import template
from django.utils import timezone

from quotes.desk import agreeing, damages
from quotes.pricing.damages import is_stripped
from quotes.pricing.selectors import Priced
from shop.papers.pictures import chances
from shop.restorations.models import Part, Restoration

register = template.Library()
HUNDRED = Decimal(100)


@register.filter
def chance_of(percent: Decimal) -> str:
    """A chance [%] in words, as the drawing of the route says it."""
    return chances.in_words(percent / HUNDRED)


@register.inclusion_tag("desk/_damages.html")
def possible_damage(part: Part) -> dict[str, Any]:
    """What strip-down may reveal on a part, with the way to its page."""
    return {"part": part, "listed": damages.listed(part), "stripped": is_stripped(part.restoration)}


@register.inclusion_tag("desk/_not_agreed.html")
def not_agreed(found: Priced, *, oob: bool = False) -> dict[str, Any]:
    """Where scope differs from what was agreed; nothing before a main offer is accepted."""
    return {
        "restoration": found.scope.restoration,
        "open": agreeing.not_agreed(found, today=timezone.localdate()),
        "oob": oob,
    }


@register.inclusion_tag("desk/_damage_found.html")
def damage_found(restoration: Restoration) -> dict[str, Any]:
    """The button for damage found, from the day on which the bike may be taken apart."""
    return {"restoration": restoration, "stripped": is_stripped(restoration)}
