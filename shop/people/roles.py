"""The three roles. In a one-person shop one person has them all."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.contrib.auth.models import AbstractBaseUser, AnonymousUser
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.utils.text import get_text_list
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from shop.people.models import User

ROLE_DESK = "desk"
ROLE_MECHANIC = "mechanic"
ROLE_MANAGER = "manager"
ROLES = (ROLE_DESK, ROLE_MECHANIC, ROLE_MANAGER)
ROLE_LABELS = {ROLE_DESK: _("Front desk"), ROLE_MECHANIC: _("Mechanic"), ROLE_MANAGER: _("Manager")}
ROLE_PHRASES = {ROLE_DESK: _("the front desk"), ROLE_MECHANIC: _("mechanics"), ROLE_MANAGER: _("the manager")}

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


def roles_of(user: AbstractBaseUser | AnonymousUser) -> frozenset[str]:
    """The roles a person holds, read once for each user object, which lives for one request."""
    if not isinstance(user, User) or not user.is_active:
        return frozenset()
    if user.is_superuser:
        return frozenset(ROLES)
    held: Any = user.__dict__.get("_roles")
    if held is None:
        held = frozenset(user.groups.values_list("name", flat=True)) & frozenset(ROLES)
        user.__dict__["_roles"] = held
    return frozenset(held)


def has_role(user: AbstractBaseUser | AnonymousUser, *roles: str) -> bool:
    return not roles_of(user).isdisjoint(roles)


def role_required(*roles: str) -> Callable[[View[P]], View[P]]:
    """Only people who hold one of ``roles``; others read whom the page is for (403)."""
    unknown = set(roles) - set(ROLES)
    if unknown or not roles:
        raise ValueError(f"role_required needs roles out of {ROLES}, not {roles}")

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            if not has_role(request.user, *roles):
                raise PermissionDenied(refusal(*roles))
            return view(request, *args, **kwargs)

        return guarded

    return decorate


def refusal(*roles: str) -> str:
    who = get_text_list([str(ROLE_PHRASES[role]) for role in roles], gettext("or"))
    return gettext("This page is for %(who)s. Ask the manager if it should be for you too.") % {"who": who}
