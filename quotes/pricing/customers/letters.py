"""The mail that brings a quote, as it is proposed to the desk: plain words, to be changed before it goes."""

from datetime import date

from django.conf import settings
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.pricing.models import Stage
from quotes.pricing.offer import Offer
from shop.text import money


def subject(offer: Offer) -> str:
    """One line, in the shop's language."""
    with translation.override(settings.LANGUAGE_CODE):
        said = {
            Stage.BALLPARK: _("What to expect for your %(machine)s: ballpark %(number)s"),
            Stage.INSPECT: _("Strip and inspect for your %(machine)s: quote %(number)s"),
            Stage.MAIN: _("Our quote %(number)s for your %(machine)s"),
            Stage.VARIATION: _("A change to the work on your %(machine)s: variation %(number)s"),
        }[Stage(offer.stage)]
        return " ".join((said % {"machine": offer.machine, "number": offer.number}).split())


def text(offer: Offer) -> str:
    """The mail without its link, which is added as it is sent."""
    with translation.override(settings.LANGUAGE_CODE):
        parts = [
            _("Dear %(customer)s,") % {"customer": offer.customer},
            _said(offer),
            _("The whole of it is attached as a PDF. If anything is unclear, answer this mail or telephone us."),
            _("Kind regards") + (f"\n{offer.shop}" if offer.shop else ""),
        ]
        return "\n\n".join(parts)


def _said(offer: Offer) -> str:
    given = {
        "machine": offer.machine,
        "varies": offer.varies,
        "total": money(abs(offer.total), offer.currency),
        "day": date_format(date.fromisoformat(offer.valid_until), "DATE_FORMAT"),
    }
    if offer.stage == Stage.BALLPARK and offer.low is not None and offer.high is not None:
        given |= {"low": money(offer.low, offer.currency), "high": money(offer.high, offer.currency)}
        said = _(
            "here is roughly what to expect for your %(machine)s: between %(low)s and %(high)s, tax included. Nobody has "
            "seen inside it yet, so this is no offer and there is nothing to accept."
        )
    elif offer.stage == Stage.INSPECT:
        said = _(
            "here is our offer to strip and inspect your %(machine)s for a fixed fee of %(total)s, tax included. "
            "Afterwards we tell you what it needs and what that costs. You can accept it until %(day)s."
        )
    elif offer.stage == Stage.VARIATION and offer.is_credit:
        said = _(
            "here is a change to what was agreed in quote %(varies)s for your %(machine)s. It lowers the total by "
            "%(total)s, tax included. You can accept it until %(day)s."
        )
    elif offer.stage == Stage.VARIATION:
        said = _(
            "here is a change to what was agreed in quote %(varies)s for your %(machine)s. It adds %(total)s to the "
            "total, tax included, and begins when you have agreed to it. You can accept it until %(day)s."
        )
    else:
        said = _(
            "here is our quote for your %(machine)s. It says part by part what we do and comes to %(total)s, tax "
            "included. You can accept it until %(day)s."
        )
    return said % given
