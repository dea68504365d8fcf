"""How an offer and a cost sheet are shown."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from django import template
from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.engine.money import MINOR_UNITS
from quotes.pricing.models import Stage
from quotes.pricing.offer import Offer, OfferLine
from shop import text
from shop.papers.drawings import paint_chip
from shop.restorations.models import Basis

register = template.Library()

DEEPEST = 4
FINE, FINER = Decimal("0.0001"), Decimal("0.00000001")


@register.filter
def day(iso: str) -> str:
    """A frozen ISO date as people write it."""
    return date_format(date.fromisoformat(iso), "DATE_FORMAT")


STAGE_WORDS = {
    "main": gettext_noop("Quote"),
    "ballpark": gettext_noop("Ballpark"),
    "inspect": gettext_noop("Strip and inspect"),
    "variation": gettext_noop("Variation"),
}


@register.filter
def stage_word(offer: Offer) -> str:
    """What stands before the number of a quote."""
    return _(STAGE_WORDS.get(offer.stage, STAGE_WORDS["main"]))


ORDINALS = (
    gettext_noop("first"),
    gettext_noop("second"),
    gettext_noop("third"),
    gettext_noop("fourth"),
    gettext_noop("fifth"),
    gettext_noop("sixth"),
    gettext_noop("seventh"),
    gettext_noop("eighth"),
    gettext_noop("ninth"),
    gettext_noop("tenth"),
)


@register.filter
def version_words(version: int) -> str:
    """Which of the quotes that one restoration got this is: "version 2" left readers asking of what."""
    if version <= len(ORDINALS):
        return _("%(nth)s quote for this restoration") % {"nth": _(ORDINALS[version - 1])}
    return _("quote number %(number)d for this restoration") % {"number": version}


@register.filter
def promises(offer: Offer) -> list[str]:
    """What the prices of an offer promise: exactly what its lines do, each kind once. Nothing where nothing is promised."""
    kinds = {line.basis if line.cap is not None else Basis.FIXED for area in offer.areas for line in area.lines}
    if not kinds or offer.stage == Stage.BALLPARK:
        return []
    said = {
        Basis.CAPPED: _("An estimate is charged at what it comes to, and never at more than the sum named beside it."),
        Basis.HOURLY: _(
            "What goes by the hour is charged by the hours it takes; we ask you at the sum named beside it."
        ),
    }
    words = [_("A fixed price stays the same if the work or a bought-in part turns out dearer for us.")]
    if kinds == {Basis.FIXED}:
        words = [
            _("Every price is fixed."),
            _("It stays the same if the work or a bought-in part turns out dearer for us."),
        ]
    elif Basis.FIXED not in kinds:
        words = []
    words += [sentence for kind, sentence in said.items() if kind in kinds]
    if offer.provisional or offer.excluded:
        words.append(_("What strip-down may still reveal is not in these prices; it stands by itself below."))
    if offer.taxes:
        words.append(_("The prices of parts are before tax; the total includes it."))
    return words


@register.filter
def promise(line: OfferLine, currency: str) -> str:
    """What the price of a line promises, in words."""
    if line.cap is None:
        return _("fixed price")
    cap = text.money(line.cap, currency)
    if line.basis == Basis.CAPPED:
        return _("estimate, at most %(cap)s") % {"cap": cap}
    return _("by the hour, we ask at %(cap)s") % {"cap": cap}


@register.filter
def reverse_sign(amount: Decimal) -> Decimal:
    """What is below zero as a sum that is given back."""
    return -amount


@register.filter
def chip(line: OfferLine) -> SafeString | str:
    """A paint chip of the agreed finish, with the hole it hangs by. Nothing when the finish has no colour of its own."""
    return paint_chip(line.swatch, title=_("Paint chip: %(finish)s") % {"finish": line.finish})


@register.filter
def indent(depth: int) -> int:
    """How far something is set in; what is nested deeper is not set in further."""
    return min(depth, DEEPEST)


@register.filter
def figure(value: Decimal, unit: str) -> str:
    """A figure of the engine with its unit, to four decimals: money as money, a small number to eight."""
    currency, _slash, per = unit.partition("/")
    if currency in MINOR_UNITS:
        return text.rate(value, currency) + (f"/{_unit(per)}" if per else "")
    fine = FINER if 0 < abs(value) < FINE * 100 else FINE
    return text.quantity(value.quantize(fine, rounding=ROUND_HALF_UP), _unit(unit))


@register.filter
def words(name: str) -> str:
    """A word of the engine in the reader's language."""
    return _(name) if name else ""


def _unit(unit: str) -> str:
    return "/".join(_(part) if part else "" for part in unit.replace("dm2", "dm²").replace("cm3", "cm³").split("/"))
