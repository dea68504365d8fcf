"""How an offer is shown: the same on the customer's PDF and on the page."""

import re
from datetime import date

from django import template
from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from quotes.pricing.offer import OfferLine
from shop.papers.drawings import box, dot, picture

register = template.Library()

COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
DEEPEST = 4


@register.filter
def day(iso: str) -> str:
    """A frozen ISO date as people write it."""
    return date_format(date.fromisoformat(iso), "DATE_FORMAT")


@register.filter
def chip(line: OfferLine) -> SafeString | str:
    """A paint chip of the agreed finish, with the hole it hangs by. Nothing when the finish has no colour of its own."""
    if not COLOUR.fullmatch(line.swatch):
        return ""
    card = box(0.5, 0.5, 23, 15, fill=line.swatch, stroke="#1a1d1f", radius=2)
    hole = dot(6, 8, 2.6, fill="#ffffff", stroke="#1a1d1f")
    return picture(card, hole, width=24, height=16, title=_("Paint chip: %(finish)s") % {"finish": line.finish})


@register.filter
def indent(line: OfferLine) -> int:
    """How far a part is set in; what is nested deeper is not set in further."""
    return min(line.depth, DEEPEST)
