"""How long somebody stays signed in, and that a tablet of the workshop is never anything else.

The time of the last request is kept in a signed cookie beside the session, not in it: looking at a page writes nothing.
"""

import hashlib
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import SESSION_KEY, logout
from django.contrib.auth.models import AbstractBaseUser, AnonymousUser
from django.core import signing
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.people import tablets
from shop.people.models import Tablet
from shop.people.roles import ROLE_MECHANIC, roles_of

#: Source: OWASP ASVS 5.0, 7.3.1 and 7.3.2; NIST SP 800-63B 4.2.3 has the same 30 minutes and 12 hours.
IDLE = timedelta(minutes=30)
WHOLE = timedelta(hours=12)
#: The pages of the floor: all that a tablet opens.
FLOOR = "/floor/"
BEGAN = "began"
SALT = "shop.people.sessions.seen"


def begin(*, request: HttpRequest, **_: Any) -> None:
    """Somebody signed in: from now on the twelve hours run."""
    request.session[BEGAN] = _seconds(timezone.now())


def why_ended(began: int | None, seen: int, now: int, *, on_the_floor_only: bool) -> str:
    """Why a session has ended; empty while it goes on. Moments are in seconds.

    Who is only a mechanic sees no money, and a phone in a pocket is not to ask for a password twenty times a day: for them
    only the twelve hours count.
    """
    if began is None or now - began >= WHOLE.total_seconds():
        return _("You were signed out: you had been signed in for 12 hours.")
    if not on_the_floor_only and now - max(seen, began) >= IDLE.total_seconds():
        return _("You were signed out: nobody had worked here for 30 minutes.")
    return ""


class Doors:
    """Ends sessions when they are due, saying why, and keeps a tablet to the pages of the floor."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        now = timezone.now()
        tablet = tablets.tablet_of(request)
        if tablet is not None:
            return self._at_a_tablet(request, tablet, now)
        _end_where_due(request, now)
        response = self.get_response(request)
        if SESSION_KEY in request.session and not getattr(request, "quiet", False):
            _set_seen(request, response, now)
        return response

    def _at_a_tablet(self, request: HttpRequest, tablet: Tablet, now: datetime) -> HttpResponseBase:
        if SESSION_KEY in request.session:
            logout(request)
        if request.path == "/":
            return redirect(FLOOR)
        if not request.path.startswith(FLOOR):
            told = {"tablet": tablet}
            raise PermissionDenied(_("This is the tablet “%(tablet)s”: it opens the pages of the floor only.") % told)
        response = self.get_response(request)
        if tablets.note_seen(tablet, now=now):
            tablets.set_cookie(response, request.COOKIES[tablets.cookie_name()])
        return response


def _end_where_due(request: HttpRequest, now: datetime) -> None:
    if SESSION_KEY not in request.session:
        return
    if not request.user.is_authenticated:
        said = _("You were signed out: your password, your role or your access was changed.")
    else:
        began, seen = request.session.get(BEGAN), _seen(request)
        floor_only = _floor_only(request.user) if began is not None else False
        said = why_ended(began, seen, _seconds(now), on_the_floor_only=floor_only)
    if said:
        logout(request)
        messages.info(request, f"{said} {_('Sign in to go on. What you typed waits in this tab.')}")


def _floor_only(user: AbstractBaseUser | AnonymousUser) -> bool:
    return roles_of(user) == {ROLE_MECHANIC}


def _seconds(moment: datetime) -> int:
    return int(moment.timestamp())


def seen_cookie() -> str:
    return f"{'__Host-' if settings.HTTPS else ''}seen"


def _signer(request: HttpRequest) -> signing.Signer:
    """Of this very session: what another one's cookie says is worth nothing here."""
    key = hashlib.sha256((request.session.session_key or "").encode()).hexdigest()
    return signing.Signer(salt=f"{SALT}.{key}")


def _seen(request: HttpRequest) -> int:
    try:
        return int(_signer(request).unsign(request.COOKIES.get(seen_cookie(), "")))
    except (signing.BadSignature, ValueError):
        return 0


def _set_seen(request: HttpRequest, response: HttpResponseBase, now: datetime) -> None:
    if request.session.session_key is None:
        return
    response.set_cookie(
        seen_cookie(),
        _signer(request).sign(str(_seconds(now))),
        max_age=WHOLE,
        path="/",
        secure=settings.HTTPS,
        httponly=True,
        samesite="Lax",
    )
