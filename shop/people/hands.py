"""Who stands at a page of the floor: a tablet of the workshop, or somebody signed in; and as whom they act.

For pages of the floor: ``@on_the_floor`` on the view, outermost; ``hand(request)`` who holds it; ``person_of(request, uid)`` whom
it is about; ``pin_ok(request, person)`` whether that may be done without asking for a PIN; ``take_pin`` when one was typed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import wraps
from typing import Any, Concatenate, ParamSpec, overload
from uuid import UUID

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.people import pins, tablets
from shop.people.models import Pin, Shop, Tablet, User
from shop.people.roles import ROLE_MANAGER, ROLE_MECHANIC, has_role, refusal
from shop.people.sessions import WHOLE

#: How long a tablet stays unlocked after the last touch. Source: RELIABILITY S-07.
IDLE = timedelta(minutes=2)
UNLOCKED = "unlocked"

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


@dataclass(frozen=True, slots=True)
class Hand:
    """Who holds the page: the tablet, or who is signed in. One of them is there."""

    tablet: Tablet | None
    user: User | None

    @property
    def name(self) -> str:
        """For the journal, where nobody has said who they are."""
        return self.user.username if self.user else str(self.tablet)


@overload
def on_the_floor(view: View[P]) -> View[P]: ...
@overload
def on_the_floor(*, quiet: bool) -> Callable[[View[P]], View[P]]: ...
def on_the_floor(view: Any = None, *, quiet: bool = False) -> Any:
    """For a tablet of the workshop, a signed-in mechanic or the manager. A ``quiet`` page asks by itself: that is no touch."""

    def decorate(inner: View[P]) -> View[P]:
        @login_not_required
        @wraps(inner)
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            request.quiet = quiet  # type: ignore[attr-defined]
            if tablets.tablet_of(request) is None:
                if not request.user.is_authenticated:
                    return _to_the_door(request)
                if not _works_here(request.user):
                    raise PermissionDenied(refusal(ROLE_MECHANIC, ROLE_MANAGER))
            elif not quiet:
                _touch(request, timezone.now())
            return inner(request, *args, **kwargs)

        return guarded

    return decorate(view) if view is not None else decorate


def _to_the_door(request: HttpRequest) -> HttpResponseBase:
    if tablets.cookie_name() in request.COOKIES:
        raise PermissionDenied(_("This tablet was taken off. Ask the manager to let it in again."))
    return redirect_to_login(request.get_full_path())


def _works_here(user: Any) -> bool:
    return has_role(user, ROLE_MECHANIC, ROLE_MANAGER) or only_person() == user


def hand(request: HttpRequest) -> Hand:
    """Who holds the page. Below `on_the_floor`, somebody does."""
    tablet = tablets.tablet_of(request)
    if tablet is not None:
        return Hand(tablet, None)
    if not isinstance(request.user, User):
        raise PermissionDenied
    return Hand(None, request.user)


def mechanics() -> QuerySet[User]:
    """Who may be at work: every active mechanic. In a one-person shop, that person."""
    only = only_person()
    if only is not None:
        return User.objects.filter(pk=only.pk)
    return User.objects.filter(is_active=True, groups__name=ROLE_MECHANIC).order_by("first_name", "username")


def only_person() -> User | None:
    """The one person of a one-person shop."""
    found = list(User.objects.filter(is_active=True)[:2])
    return found[0] if len(found) == 1 else None


def person_of(request: HttpRequest, uid: UUID | str | None) -> User:
    """Whom a page is about. On a tablet any active mechanic; signed in oneself, for a manager anybody at work.

    Where only one person works here, it is always that one, whatever ``uid`` says.
    """
    only = only_person()
    if only is not None:
        return only
    held = hand(request)
    if held.user is not None and (uid is None or str(held.user.uid) == str(uid)):
        return held.user
    if held.user is not None and not has_role(held.user, ROLE_MANAGER):
        raise PermissionDenied(
            _("Signed in, you act as yourself. For somebody else there is the tablet, or the manager.")
        )
    try:
        wanted = UUID(str(uid))
    except ValueError:
        raise Http404 from None
    found = mechanics().filter(uid=wanted).first()
    if found is None:
        raise Http404
    return found


def pin_ok(request: HttpRequest, person: User, *, always: bool = False) -> bool:
    """Whether ``person`` may act now without typing a PIN.

    On a tablet clocking asks for it where the shop says so; overrides and corrections ask ``always``. It counts for two
    minutes after the last touch, and for this person alone. Who is signed in has given a password.
    """
    held = hand(request)
    if held.user is not None:
        return True
    if not always and not Shop.objects.filter(pin_to_clock=True).exists():
        return True
    return unlocked_for(request, person, now=timezone.now())


def take_pin(request: HttpRequest, *, person: User, pin: str, now: datetime) -> bool:
    """Look at a PIN that was typed; right, it unlocks this tablet for ``person``. Raises `pins.Locked` with a sentence."""
    held = hand(request)
    if not pins.check_pin(person=person, pin=pin, tablet=held.tablet, by=held.user, now=now):
        return False
    if held.tablet is not None:
        request.session.cycle_key()  # who unlocked it before is out, with all that hung on the old key
        request.session[UNLOCKED] = {
            "tablet": held.tablet.pk,
            "person": person.pk,
            "proof": _proof(person),
            "began": now.timestamp(),
            "touched": now.timestamp(),
        }
    return True


def put_down(request: HttpRequest) -> None:
    """Lock the tablet at once."""
    if UNLOCKED in request.session:
        request.session.flush()


def unlocked_for(request: HttpRequest, person: User, *, now: datetime) -> bool:
    """Whether ``person`` typed their PIN here, and nobody has left since."""
    said = request.session.get(UNLOCKED)
    tablet = tablets.tablet_of(request)
    return bool(
        said
        and tablet
        and (said["tablet"], said["person"]) == (tablet.pk, person.pk)
        and person.is_active
        and said["proof"] == _proof(person)
        and _fresh(said, now)
    )


def _fresh(said: dict[str, Any], now: datetime) -> bool:
    touched, began = (now.timestamp() - float(said[when]) for when in ("touched", "began"))
    return touched < IDLE.total_seconds() and began < WHOLE.total_seconds()


def _touch(request: HttpRequest, now: datetime) -> None:
    """Somebody is at the tablet: two minutes from now. Unlocked for too long, it is locked."""
    said = request.session.get(UNLOCKED)
    if said is None:
        return
    if not _fresh(said, now):
        request.session.flush()
        return
    request.session[UNLOCKED] = said | {"touched": now.timestamp()}


def _proof(person: User) -> str:
    """Changes with the PIN, the password, the roles and the access of a person: what was unlocked before is locked."""
    given = Pin.objects.filter(person=person).values_list("given_at", flat=True).first()
    return f"{person.get_session_auth_hash()[:32]} {given.isoformat() if given else ''}"
