"""What customers accepted since the last working day began, each with what is to be done next."""

from datetime import date, datetime, time, timedelta

from django.db.models import Exists, OuterRef, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.desk.today import GOOD, SHOWN
from quotes.desk.waiting import Group, Waits
from quotes.pricing.models import IssuedQuote, IssuedStep, Outcome, Stage
from quotes.pricing.money import money_in
from quotes.pricing.selectors import HEAVY
from shop.people.calendars import shop_calendar
from shop.people.models import Shop
from shop.text import money

#: Longer than any shop is shut: what was accepted before that is no news.
LONGEST = timedelta(days=28)
ONE = timedelta(days=1)


def accepted(day: date) -> Group:
    """Quotes and variations, the newest answer first. Seven queries."""
    since = last_working_day(day)
    quotes = list(_quotes(since)[:SHOWN])
    standings = money_in.standings([quote.restoration for quote in quotes], day) if quotes else {}
    return Group(
        name="accepted",
        title=_("Accepted since yesterday")
        if since == day - ONE
        else _("Accepted since %(day)s") % {"day": date_format(since, "l, j F")},
        about=_("What the customer said yes to, and what is to be done next."),
        rows=[_row(quote, standings[quote.restoration_id], day) for quote in quotes],
    )


def last_working_day(day: date) -> date:
    """The last day before ``day`` on which the workshop was open."""
    calendar = shop_calendar(shop=Shop.objects.first(), first=day - LONGEST)
    weekdays, closed = {weekday for weekday, _opens, _closes in calendar.hours}, set(calendar.closed)
    before = (day - ONE * number for number in range(1, LONGEST.days + 1))
    return next((one for one in before if one.weekday() in weekdays and one.isoformat() not in closed), day - LONGEST)


def _quotes(since: date) -> QuerySet[IssuedQuote]:
    began = timezone.make_aware(datetime.combine(since, time.min))
    rows = IssuedQuote.objects.filter(outcome__kind=Outcome.Kind.ACCEPTED, outcome__at__gte=began)
    adds = Exists(IssuedStep.objects.filter(quote=OuterRef("pk")))
    rows = rows.annotate(adds=adds).select_related("outcome", "restoration__customer").defer(*HEAVY)
    return rows.order_by("-outcome__at", "-number")


def _row(quote: IssuedQuote, standing: money_in.Standing, day: date) -> Waits:
    outcome = quote.outcome
    said = {"quote": quote, "stage": quote.get_stage_display()}
    next_one, page = _next(quote, standing)
    text = _("%(quote)s, %(stage)s: %(next)s") % (said | {"next": next_one})
    on = _("today") if outcome.said_on == day else date_format(outcome.said_on, "DATE_FORMAT")
    tag = _("%(day)s, %(how)s") % {"day": on, "how": outcome.get_how_display()}
    return Waits(quote.restoration, text, reverse(page, args=[quote.restoration.uid]), tag, GOOD)


def _next(quote: IssuedQuote, standing: money_in.Standing) -> tuple[str, str]:
    """What is to be done next, and the page where."""
    if quote.stage == Stage.VARIATION:
        adds: bool = quote.adds  # type: ignore[attr-defined]
        if adds:
            return _("its new work may begin; let the workshop know."), "desk:restoration"
        return _("what it leaves out is not done any more; let the workshop know."), "desk:restoration"
    mine = (one for one in standing.payments if one.quote_uid == quote.uid and one.due_on and one.open)
    payment = next(mine, None)
    if payment is not None:
        asked = {"name": payment.name, "amount": money(payment.open, standing.currency)}
        if quote.stage == Stage.INSPECT:
            return _("ask for “%(name)s”, %(amount)s; then take the bike apart.") % asked, "desk:money"
        return _("ask for “%(name)s”, %(amount)s; then order, send out and begin.") % asked, "desk:money"
    if quote.stage == Stage.INSPECT:
        return _("take the bike apart, say what is found, then make the main offer."), "desk:restoration"
    return _("order, send out and begin; the days say what is first."), "desk:days"
