"""Tablets of the workshop: let in by a code that the manager makes, known by a cookie from then on, taken off again at once."""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as _

from shop.journal.services import Subject, record, subject_of
from shop.people.accounts import READABLE
from shop.people.models import Enrolment, Shop, Tablet, TabletSeen

#: 31 letters and digits, eight of them: 39 bits. Source: NIST SP 800-63B 5.1.3.2 asks for 20 with a limit on tries, and for ten minutes.
CODE_LETTERS = 8
CODE_LASTS = timedelta(minutes=10)
#: Source: NIST SP 800-63B 5.2.2, at most 100 failures in a row.
CODE_MISSES = 100
SECRET_BYTES = 32
LONGEST = 100
#: What browsers keep a cookie for at most, counted anew whenever the tablet is heard of (RFC 6265bis, section 5.5).
COOKIE_LASTS = timedelta(days=400)
#: How exact "last seen" is.
SEEN_EVERY = timedelta(minutes=5)


@transaction.atomic
def begin_enrolment(*, name: str, who: str, now: datetime) -> str:
    """A code that lets one tablet in under ``name``: told this once, good for ten minutes and for one use."""
    name = name.strip()
    row = Enrolment(name=name, made_at=now, made_by=who, expires_at=now + CODE_LASTS)
    row.full_clean(exclude=["code_sha256"])
    _refuse_taken(name)
    Enrolment.objects.filter(name=name, used_at__isnull=True).delete()
    code = "".join(secrets.choice(READABLE) for _ in range(CODE_LETTERS))
    row.code_sha256 = _hash(code)
    row.save(force_insert=True)
    record(who=who, at=now, what="tablet expected", subject=_shop(), after={"tablet": name})
    return f"{code[:4]}-{code[4:]}"


def _refuse_taken(name: str) -> None:
    if Tablet.objects.filter(name=name, ended_at__isnull=True).exists():
        raise ValidationError({"name": _("There is a tablet of this name. Choose another one, or take that one off.")})


def enrol(*, code: str, now: datetime) -> tuple[Tablet, str]:
    """The tablet that ``code`` lets in, and the secret it is known by, told this once. Raises `ValidationError`."""
    with transaction.atomic():
        let_in = _let_in(_plain(code), now)
    if let_in is None:
        Enrolment.objects.filter(used_at__isnull=True, expires_at__gt=now).update(misses=F("misses") + 1)
        said = _("This code lets no tablet in: it is mistyped, used, or older than ten minutes. Ask for a new one.")
        raise ValidationError({"code": said})
    return let_in


def _let_in(code: str, now: datetime) -> tuple[Tablet, str] | None:
    row = Enrolment.objects.filter(code_sha256=_hash(code)).first()
    if row is None:
        return None
    still_good = {"used_at__isnull": True, "expires_at__gt": now, "misses__lt": CODE_MISSES}
    if not Enrolment.objects.filter(pk=row.pk, **still_good).update(used_at=now):
        return None
    _refuse_taken(row.name)
    secret = secrets.token_urlsafe(SECRET_BYTES)
    tablet = Tablet(name=row.name, secret_sha256=_hash(secret), enrolled_at=now, enrolled_by=row.made_by)
    tablet.save(force_insert=True)
    TabletSeen.objects.create(tablet=tablet, at=now)
    record(who=row.made_by, at=now, what="tablet let in", subject=subject_of(tablet), after={"tablet": row.name})
    return tablet, secret


@transaction.atomic
def end_tablet(*, tablet: Tablet, who: str, now: datetime) -> None:
    """Take a tablet off: its next request is a stranger's. Doing it twice is doing it once."""
    if not Tablet.objects.filter(pk=tablet.pk, ended_at__isnull=True).update(ended_at=now, ended_by=who):
        return
    tablet.refresh_from_db()
    record(who=who, at=now, what="tablet taken off", subject=subject_of(tablet))


def cookie_name() -> str:
    return f"{'__Host-' if settings.HTTPS else ''}tablet"


def set_cookie(response: HttpResponseBase, secret: str) -> None:
    response.set_cookie(
        cookie_name(),
        secret,
        max_age=COOKIE_LASTS,
        path="/",  # as the __Host- prefix asks
        secure=settings.HTTPS,
        httponly=True,
        samesite="Lax",
    )


def tablet_of(request: HttpRequest) -> Tablet | None:
    """The tablet whose cookie came along, unless it was taken off. One query where there is a cookie, none elsewhere."""
    if not hasattr(request, "_tablet"):
        request._tablet = _found(request.COOKIES.get(cookie_name(), ""))  # type: ignore[attr-defined]
    found: Tablet | None = request._tablet  # type: ignore[attr-defined]
    return found


def _found(secret: str) -> Tablet | None:
    """Looked up by its hash, so that no answer takes longer the closer a guess comes."""
    if not secret or len(secret) > LONGEST:
        return None
    rows = Tablet.objects.filter(secret_sha256=_hash(secret), ended_at__isnull=True)
    return rows.select_related("seen").first()


def note_seen(tablet: Tablet, *, now: datetime) -> bool:
    """Remember that a tablet was heard of, at most every five minutes; whether it was due."""
    if tablet.seen.at > now - SEEN_EVERY:
        return False
    TabletSeen.objects.filter(tablet=tablet, at__lt=now).update(at=now)
    return True


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _plain(code: str) -> str:
    """A code as it was made, however it was typed."""
    return "".join(letter for letter in code[:LONGEST].lower() if letter.isalnum())


def _shop() -> Subject:
    return subject_of(Shop.objects.first() or Shop.objects.create(name=_("This workshop")))
