"""Quotes that wait for a customer's answer, as the page about their restoration tells it.

That page may be passed on and stays open for long, so it opens no quote: answering takes the quote's own link. Here the
customer can ask for it, and no link is spoken of that did not go out.
"""

import uuid
from collections.abc import Iterator, Sequence
from datetime import date, datetime

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.pricing import selectors
from quotes.pricing.customers import links, mailing, messages
from quotes.pricing.models import IssuedQuote, Link, Mailed, Message, Stage


def open_ones(quotes: Sequence[IssuedQuote], day: date) -> list[IssuedQuote]:
    """Those of ``quotes`` that can be accepted on ``day``."""
    offers = [quote for quote in quotes if quote.stage != Stage.BALLPARK]
    return [quote for quote in offers if selectors.standing(quote, day) == "open"]


def told(quotes: Sequence[IssuedQuote], now: datetime) -> Iterator[str]:
    """A sentence for each that waits, in three queries."""
    waiting = open_ones(quotes, timezone.localdate(now))
    mailed = _mailed(waiting, now)
    for quote in waiting:
        said = {"quote": quote, "stage": quote.get_stage_display(), "day": _day(quote.valid_until)}
        first = _("Quote %(quote)s (%(stage)s) waits for your answer until %(day)s.") % said
        if sent := mailed.get(quote.pk):
            rest = _("Its link came by e-mail on %(day)s; it opens the quote.") % {
                "day": _day(timezone.localdate(sent))
            }
        else:
            rest = _("It is read and answered by a link of its own: ask us for it.")
        yield f"{first} {rest}"


def _mailed(quotes: Sequence[IssuedQuote], now: datetime) -> dict[int, datetime]:
    """When the quotes went out by e-mail, by key: only those whose mail was sent and that a link still opens."""
    opened = Link.objects.filter(quote__in=quotes, revoked_at__isnull=True, expires_at__gt=now)
    can_be_read = set(opened.values_list("quote", flat=True))
    rows = list(Mailed.objects.filter(quote__in=quotes, kind=Mailed.Kind.QUOTE).order_by("at", "pk"))
    jobs = mailing.jobs([row.job_key for row in rows])
    sent = [row for row in rows if (job := jobs.get(row.job_key)) and job.state == "done"]
    return {row.quote_id: row.at for row in sent if row.quote_id in can_be_read}


def ask_for_link(*, link: Link, now: datetime) -> Message | None:
    """Tell the desk that the customer of ``link`` asks for the link to what waits; once a day. None where nothing waits.

    Raises ``ValidationError`` where they asked too much already.
    """
    restoration = link.restoration
    day = timezone.localdate(now)
    rows = restoration.quotes.select_related("outcome").defer(*selectors.HEAVY).order_by("number")
    waiting = open_ones(list(rows), day)
    if not waiting:
        return None
    names = ", ".join(f"{quote} ({quote.get_stage_display()})" for quote in waiting)
    return messages.ask(
        restoration=restoration,
        quote=waiting[0] if len(waiting) == 1 else None,
        text=_("Please send me the link to %(quotes)s.") % {"quotes": names},
        name=restoration.customer.name,
        uid=uuid.uuid5(restoration.uid, f"link to {names} on {day}"),
        who=_("customer, by link %(link)s") % {"link": links.short(link)},
        now=now,
    )


def _day(day: date) -> str:
    return date_format(day, "DATE_FORMAT")
