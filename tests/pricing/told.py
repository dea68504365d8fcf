"""Accepted bikes and their customers' browsers, without pricing anything. Names are invented."""

from datetime import date, datetime, time, timedelta
from typing import Any

from django.test import Client
from django.utils import timezone

from quotes.pricing.customers import links, messages, sharing
from quotes.pricing.models import IssuedQuote, Link, Message, Outcome, Shared
from shop.papers.models import Photograph
from shop.restorations.models import Restoration
from tests.desk import rows


def at(day: date, hour: int = 10) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(hour)))


def ago(days: int, hour: int = 10) -> datetime:
    """So many days before today, by the shop's clock."""
    return at(timezone.localdate() - timedelta(days=days), hour)


def accepted(title: str = "Heron 250", *, said: int = 30, **more: Any) -> Restoration:
    """A restoration whose main offer was issued, and accepted ``said`` days ago."""
    row = rows.restoration(title, **more)
    quote = rows.quote(row, until=rows.day(60))
    say_yes(quote, said)
    return row


def say_yes(quote: IssuedQuote, said: int) -> None:
    Outcome.objects.create(
        quote=quote,
        kind=Outcome.Kind.ACCEPTED,
        who="Jo Fenwick",
        how="phone",
        said_on=ago(said).date(),
        at=ago(said),
        recorded_by="ada",
    )


def ask(of: Restoration, text: str = "When can I see it?", **more: Any) -> Message:
    given = {"name": "Jo Fenwick", "who": "customer, by link", "now": timezone.now()} | more
    return messages.ask(restoration=of, text=text, **given)


def answer(question: Message, text: str = "On Friday.", **more: Any) -> Message:
    return messages.answer(question=question, text=text, **({"who": "ada", "now": timezone.now()} | more))


def share(of: Restoration, note: str = "The frame is straight.", **more: Any) -> Shared:
    return sharing.share(restoration=of, note=note, **({"who": "ada", "now": timezone.now()} | more))


def photograph(caption: str = "Frame on the bench") -> Photograph:
    """A row; its file is not there."""
    given = {"kind": "jpeg", "width": 640, "height": 480, "bytes": 1000, "added_at": timezone.now(), "added_by": "ada"}
    return Photograph.objects.create(caption=caption, sha256="0" * 64, thumbnail_sha256="1" * 64, **given)


def link_for(of: Restoration, quote: IssuedQuote | None = None) -> tuple[Link, str]:
    purpose = Link.Purpose.QUOTE if quote else Link.Purpose.PROGRESS
    return links.make(purpose=purpose, restoration=of, quote=quote, who="ada", now=timezone.now())


def browser_of(of: Restoration, quote: IssuedQuote | None = None) -> Client:
    """A browser in which the customer's link was opened."""
    client = Client()
    client.get(f"/c/{link_for(of, quote)[1]}/")
    return client
