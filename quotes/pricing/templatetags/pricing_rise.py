"""Why a variation differs from the rise of the whole bike's price, in words."""

from decimal import Decimal

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.engine.apart import Cause
from quotes.pricing.rise import ANEW, ROUNDING, Share
from shop import currency, text

register = template.Library()
MOST_NAMES = 4

WORDS = {
    Cause.SET_UP: gettext_noop("Setting up by itself what the whole bike shares"),
    Cause.MIX: gettext_noop("Smallest mixes and packs by itself"),
    Cause.LOT: gettext_noop("Lot charges, minimums and prices by quantity by itself"),
    Cause.TRIP: gettext_noop("Trips and handling by itself"),
    Cause.REWORK: gettext_noop("What may have to be done again"),
    Cause.UNSEEN: gettext_noop("What nobody can see yet, on parts whose price was agreed"),
    Cause.CONTINGENCY: gettext_noop("What is added so that prices hold, worked out for less work"),
    Cause.KEPT: gettext_noop("What is kept of it for comebacks"),
    ANEW: gettext_noop("What was agreed before, which stands, less the same at today's rates, amounts and chances"),
    ROUNDING: gettext_noop("Rounding"),
}


@register.filter
def cause_words(share: Share) -> str:
    """A cause, and the first works it comes from."""
    words, names = _(WORDS[share.cause]), share.names[:MOST_NAMES]
    if not names:
        return words
    listed = ", ".join(names)
    if len(share.names) > MOST_NAMES:
        listed = _("%(names)s and %(count)s more") % {"names": listed, "count": len(share.names) - MOST_NAMES}
    return _("%(cause)s: %(names)s") % {"cause": words, "names": listed}


@register.filter
def signed(amount: Decimal) -> str:
    """Money that comes on top or comes off, with its sign."""
    words = text.money(abs(amount), currency.code())
    return f"+{words}" if amount > 0 else f"{text.MINUS}{words}"
