"""What the page of a quote shows of sending it: links with their state, and how far each mail got."""

from dataclasses import dataclass
from datetime import datetime
from ipaddress import ip_address
from typing import Any, Literal
from urllib.parse import urlsplit

import segno
from django.conf import settings
from django.http import HttpRequest

from quotes.pricing.customers import links, mailing
from quotes.pricing.models import IssuedQuote, Link, Mailed
from shop.outbox.models import Row

State = Literal["open", "revoked", "over"]


@dataclass(frozen=True, slots=True)
class ShownLink:
    link: Link
    short: str
    state: State


@dataclass(frozen=True, slots=True)
class ShownMail:
    """``state`` is that of its background job; a mail without one has not been asked for yet."""

    mailed: Mailed
    job: Row | None

    @property
    def state(self) -> str:
        return self.job.state if self.job else ""


def links_of(quote: IssuedQuote, *, now: datetime) -> list[ShownLink]:
    """The newest first."""
    return [ShownLink(link, links.short(link), _state(link, now)) for link in quote.links.order_by("-made_at", "-pk")]


def _state(link: Link, now: datetime) -> State:
    if link.revoked_at is not None:
        return "revoked"
    return "open" if link.expires_at > now else "over"


def mail_of(quote: IssuedQuote) -> list[ShownMail]:
    """The newest first."""
    sent = list(quote.mailed.order_by("-at", "-pk"))
    jobs = mailing.jobs([one.job_key for one in sent])
    return [ShownMail(one, jobs.get(one.job_key)) for one in sent]


def base_of(request: HttpRequest) -> str:
    """What links begin with: as the shop has set it, else as the desk reached this page."""
    return settings.ADDRESS or request.build_absolute_uri("/").rstrip("/")


def shown_once(request: HttpRequest, secret: str) -> dict[str, Any]:
    """What `pricing/_new_link.html` shows of a link that was just made: nobody can look it up later."""
    base = base_of(request)
    address = mailing.address(base, secret)
    code = segno.make(address, error="m").svg_data_uri(scale=4, border=3, dark="#000", light="#fff")
    return {
        "new_link": address,
        "new_link_code": code,
        "base": base,
        "opens_only_here": opens_only_here(base),
    }


def opens_only_here(base: str) -> bool:
    """Whether an address is one that no customer can reach: of this machine or of this house."""
    host = urlsplit(base).hostname or ""
    try:
        return not ip_address(host).is_global
    except ValueError:
        return host == "localhost" or host.endswith((".local", ".lan", ".internal")) or "." not in host
