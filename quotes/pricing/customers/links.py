"""A customer's way in without an account: a secret that only they hold, exchanged for a cookie that soon runs out."""

import hashlib
import secrets
from datetime import datetime, time, timedelta

from django.conf import settings
from django.core import signing
from django.db import transaction
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone

from quotes.pricing.models import IssuedQuote, Link
from shop.journal.services import Subject, record, subject_of
from shop.restorations.models import Restoration

SECRET_BYTES = 32
#: How long a quote can still be read after the last day on which it could be accepted.
READING = timedelta(days=60)
#: How long a link to the progress of a restoration lasts: the longest restorations take that long.
PROGRESS = timedelta(days=400)
#: How long a browser may stay away from the page before the link has to be opened again.
COOKIE_LASTS = timedelta(hours=2)
#: What can never be the secret of a link, before anything is worked out from it.
LONGEST = 100


@transaction.atomic
def make(
    *, purpose: Link.Purpose, restoration: Restoration, quote: IssuedQuote | None = None, who: str, now: datetime
) -> tuple[Link, str]:
    """A new link and its secret, which is told this once: what is kept is its hash."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    link = Link(
        purpose=purpose,
        restoration=restoration,
        quote=quote,
        secret_sha256=_hash(secret),
        made_at=now,
        made_by=who,
        expires_at=_end(quote, now),
    )
    link.save(force_insert=True)
    record(
        who=who,
        at=now,
        what="link made",
        subject=_subject(link),
        after={"link": link.uid, "purpose": link.purpose, "expires": link.expires_at},
    )
    return link, secret


def _end(quote: IssuedQuote | None, now: datetime) -> datetime:
    if quote is None:
        return now + PROGRESS
    last = max(quote.valid_until, timezone.localdate(now)) + READING
    return timezone.make_aware(datetime.combine(last, time(23, 59, 59)))


@transaction.atomic
def revoke(*, link: Link, who: str, now: datetime) -> None:
    """Close a link, also for whoever has its page open; closing it twice is closing it once."""
    if not Link.objects.filter(pk=link.pk, revoked_at__isnull=True).update(revoked_at=now):
        return
    link.refresh_from_db()
    record(who=who, at=now, what="link revoked", subject=_subject(link), after={"link": link.uid})


def find(secret: str, now: datetime) -> Link | None:
    """The link a secret opens now. Looked up by its hash, so that no answer takes longer the closer a guess comes."""
    return _open(now, secret_sha256=_hash(secret)) if len(secret) <= LONGEST else None


def set_cookie(response: HttpResponseBase, link: Link) -> None:
    """Let the browser in for a while. The cookie holds no secret and opens nothing but this link's one purpose."""
    response.set_cookie(
        _cookie(link.purpose),
        _signer(link.purpose).sign(link.uid.hex),
        max_age=COOKIE_LASTS,
        path="/",  # as the __Host- prefix asks
        secure=settings.HTTPS,
        httponly=True,
        samesite="Lax",
    )


def from_cookie(request: HttpRequest, purpose: Link.Purpose, now: datetime) -> Link | None:
    """The link whose cookie came along, if it is for ``purpose``, still fresh, not expired and not revoked."""
    signed = request.COOKIES.get(_cookie(purpose), "")
    try:
        uid = _signer(purpose).unsign(signed, max_age=COOKIE_LASTS)
    except signing.BadSignature:
        return None
    return _open(now, uid=uid, purpose=purpose)


def short(link: Link) -> str:
    """What people call a link by: enough of its name to tell it from the others, nothing of its secret."""
    return link.uid.hex[:6]


def _open(now: datetime, **which: str) -> Link | None:
    rows = Link.objects.filter(expires_at__gt=now, revoked_at__isnull=True, **which)
    return rows.select_related("restoration").first()


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _signer(purpose: str) -> signing.TimestampSigner:
    return signing.TimestampSigner(salt=f"quotes.pricing.customers.links.{purpose}")


def _cookie(purpose: str) -> str:
    return f"{'__Host-' if settings.HTTPS else ''}customer-{purpose}"


def _subject(link: Link) -> Subject:
    return subject_of(link.quote or link.restoration)
