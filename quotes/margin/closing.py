"""Closing a week: what no week has taken up yet is taken into it, and how every job stood is kept. Never opened again."""

from collections.abc import Sequence
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import formats, timezone
from django.utils.translation import gettext as _

from quotes.engine.money import places, to_minor
from quotes.margin import books, posting, review, weeks
from quotes.margin.models import Close, CostEntry, Ledger, Overhead
from quotes.margin.posting.kept import hold
from shop import currency
from shop.journal.services import record, subject_of


def close_week(*, week: date, who: str, now: datetime) -> Close:
    """Close the week that begins on ``week``, a Monday: everything dated up to its Sunday that no week has yet is its own.

    What is dated later stays for the next close. Closed already, that close is returned. Raises `ValidationError` for a week
    that is not over, or that lies before one that is closed: what comes late falls into the next one.
    """
    known = Close.objects.filter(week=week).first()
    if known is not None:
        return known
    _refuse(week, today=timezone.localdate(now))
    posting.everything(now=now)
    return _close(week, review.look(now=now).rows, who=who, now=now)


@transaction.atomic
def _close(week: date, rows: Sequence[review.Row], *, who: str, now: datetime) -> Close:
    """Take up what is posted, and keep ``rows``; short, since on SQLite others wait for it."""
    hold()
    known = Close.objects.filter(week=week).first()
    if known is not None:
        return known
    digits = places(currency.code())
    close = Close.objects.create(week=week, closed_at=now, closed_by=who)
    for model in (CostEntry, Overhead):
        model.objects.filter(close__isnull=True, on__lte=weeks.last_day(week)).update(close=close)
    found = books.accounts(books.balances(weeks.last_day(week)))
    Ledger.objects.bulk_create(
        Ledger(close=close, position=place, account=name, amount_minor=to_minor(amount, digits=digits))
        for place, (name, amount) in enumerate(found.items(), start=1)
    )
    review.keep(close, rows)
    after = {"week": week, "jobs": len(rows), "cost entries": close.entries.count()}
    record(who=who, at=now, what="week closed", subject=subject_of(close), after=after)
    return close


def _refuse(week: date, *, today: date) -> None:
    if week != weeks.week_of(week):
        raise ValidationError(_("A week begins on a Monday. Give that day."), code="monday")
    if weeks.last_day(week) >= today:
        said = _("This week is not over. It can be closed from %(day)s on.")
        told = {"day": formats.date_format(week + weeks.WEEK, "DATE_FORMAT")}
        raise ValidationError(said % told, code="not over")
    last = weeks.last_close()
    if last is not None and last.week > week:
        said = _("A later week is closed already. What comes in late falls into the next one.")
        raise ValidationError(said, code="later closed")


def late(close: Close) -> QuerySet[CostEntry]:
    """What was taken into a week and belongs to an earlier one."""
    return close.entries.filter(on__lt=F("close__week"))
