"""Who may sign in, kept by the manager: roles, new passwords, an end and a return. Nobody is deleted: the journal names them."""

import secrets
from collections.abc import Iterable
from datetime import datetime

from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.people.models import User
from shop.people.roles import ROLE_MANAGER, ROLES

READABLE = "abcdefghjkmnpqrstuvwxyz23456789"  # nothing that is mistaken for another


def new_password() -> str:
    """Sixteen letters and digits in fours, drawn anew: 79 bits, and readable over a shoulder's distance."""
    return "-".join("".join(secrets.choice(READABLE) for _ in range(4)) for _ in range(4))


@transaction.atomic
def change_roles(*, person: User, roles: Iterable[str], who: str, now: datetime) -> None:
    """Say what ``person`` does here. Somebody stays manager."""
    wanted = set(roles)
    if not wanted or wanted - set(ROLES):
        raise ValidationError({"roles": _("Choose at least one role. To end access, use the button below.")})
    _hold_everybody()
    before = sorted(person.groups.values_list("name", flat=True))
    person.groups.set(Group.objects.filter(name__in=wanted))
    _refuse_no_manager("roles")
    if before != sorted(wanted):
        end_sessions(person)
    after = {"roles": sorted(wanted)}
    record(who=who, at=now, what="roles changed", subject=subject_of(person), before={"roles": before}, after=after)


@transaction.atomic
def end_access(*, person: User, who: str, now: datetime) -> None:
    """``person`` cannot sign in any more, and is signed out with the next click. Ended already, nothing changes."""
    _hold_everybody()
    person.refresh_from_db()
    if not person.is_active:
        return
    person.is_active = False
    person.save(update_fields=["is_active"])
    _refuse_no_manager("")
    end_sessions(person)
    record(who=who, at=now, what="access ended", subject=subject_of(person))


@transaction.atomic
def give_access_back(*, person: User, password: str, who: str, now: datetime) -> None:
    """Let ``person`` sign in again, with a new password."""
    person.is_active = True
    person.set_password(password)
    person.save(update_fields=["is_active", "password"])
    record(who=who, at=now, what="access given back", subject=subject_of(person))


@transaction.atomic
def set_new_password(*, person: User, password: str, who: str, now: datetime) -> None:
    """A new password in place of a forgotten one; the person's other sessions end."""
    person.set_password(password)
    person.save(update_fields=["password"])
    record(who=who, at=now, what="new password given", subject=subject_of(person))


def end_sessions(person: User) -> None:
    """End every session of ``person``, at a desk, on a phone, or unlocked on a tablet."""
    User.objects.filter(pk=person.pk).update(session_round=F("session_round") + 1)
    person.refresh_from_db(fields=["session_round"])


def _hold_everybody() -> None:
    """Two managers who end each other's access at the same moment come one after the other."""
    list(User.objects.select_for_update().order_by("pk").values_list("pk", flat=True))


def _refuse_no_manager(field: str) -> None:
    if not User.objects.filter(is_active=True, groups__name=ROLE_MANAGER).exists():
        said = _("Then nobody would be manager any more. Make somebody else manager first.")
        raise ValidationError({field: said} if field else said)
