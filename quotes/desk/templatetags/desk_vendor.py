"""Vendor jobs as pages write them."""

from datetime import date

from django import template
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.engine.money import from_minor, places
from shop import currency, text
from shop.vendor_jobs.models import Job
from shop.vendor_jobs.prices import charged
from shop.vendor_jobs.standing import Stands

register = template.Library()


@register.filter
def minor(amount: int) -> str:
    """Minor units of the shop's currency as money."""
    return text.money(from_minor(amount, digits=places(currency.code())), currency.code())


@register.filter
def stands_words(stands: Stands) -> str:
    """How a vendor job stands, in a word or two."""
    return {
        Stands.PLANNED: _("planned"),
        Stands.READY: _("may leave"),
        Stands.OUT: _("out"),
        Stands.BACK: _("back"),
        Stands.CANCELLED: _("cancelled"),
    }[stands]


@register.filter
def off(day: date) -> str:
    """How far off a day is: "in 3 days", "today", "3 days ago"."""
    left = (day - timezone.localdate()).days
    if left == 0:
        return _("today")
    if left > 0:
        return ngettext("in %(count)s day", "in %(count)s days", left) % {"count": left}
    return ngettext("%(count)s day ago", "%(count)s days ago", -left) % {"count": -left}


@register.filter
def sum_charged(job: Job) -> int | None:
    """What a job, which comes with its charges, is charged [minor units]; None while nothing is."""
    return charged(job)
