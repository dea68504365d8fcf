from collections.abc import Iterable
from datetime import datetime

from django.conf import settings
from django.contrib.auth.models import Group, Permission
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from quotes.engine.money import MINOR_UNITS
from shop import currency
from shop.journal.services import SYSTEM, record, subject_of
from shop.people.models import Shop, User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, ROLE_MECHANIC, ROLES

# What a role may do that a lower room must ask about without knowing the roles.
ROLE_PERMISSIONS = {
    ROLE_DESK: [("papers", "view_document"), ("papers", "view_photograph"), ("outbox", "view_row")],
    ROLE_MECHANIC: [("papers", "view_photograph")],
    ROLE_MANAGER: [
        ("papers", "view_document"),
        ("papers", "view_photograph"),
        ("outbox", "view_row"),
        ("outbox", "retry_row"),
    ],
}


@transaction.atomic
def add_person(*, username: str, name: str, password: str, roles: Iterable[str], who: str = SYSTEM) -> User:
    """Raises ``ValidationError`` with a sentence for each wrong field; then nothing is stored."""
    wanted = set(roles)
    person = User(username=username.strip(), first_name=name.strip())
    errors = _errors_of(person, password, wanted)
    if errors:
        raise ValidationError(errors)
    person.set_password(password)
    person.save()
    person.groups.set(Group.objects.filter(name__in=wanted))
    told = {"username": person.username, "name": str(person), "roles": sorted(wanted)}
    record(who=who, at=person.date_joined, what="person added", subject=subject_of(person), after=told)
    return person


@transaction.atomic
def change_password(*, person: User, password: str, now: datetime) -> None:
    """The journal learns that it was changed, and nothing of the password. Other sessions of the person end."""
    person.set_password(password)
    person.save(update_fields=["password"])
    record(who=person.username, at=now, what="password changed", subject=subject_of(person))


def _errors_of(person: User, password: str, roles: set[str]) -> dict[str, list[str]]:
    errors: dict[str, list[str]] = {}
    try:
        person.full_clean(exclude=["password"])
    except ValidationError as error:
        errors.update(error.message_dict)
    if not person.first_name:
        errors["first_name"] = [_("Enter the person's name.")]
    try:
        validate_password(password, person)
    except ValidationError as error:
        errors["password"] = list(error.messages)
    if not roles or roles - set(ROLES):
        errors["roles"] = [_("Choose at least one of these roles: %(roles)s.") % {"roles": ", ".join(ROLES)}]
    return errors


def ensure_roles(*, using: str) -> None:
    """Make the role groups and what they permit; safe to repeat."""
    for role in ROLES:
        group, _created = Group.objects.using(using).get_or_create(name=role)
        for app_label, codename in ROLE_PERMISSIONS.get(role, []):
            permissions = Permission.objects.using(using)
            group.permissions.add(*permissions.filter(content_type__app_label=app_label, codename=codename))


@transaction.atomic
def describe_shop(
    *, name: str, address: str = "", email: str = "", phone: str = "", tax_number: str = "", who: str, now: datetime
) -> Shop:
    """Say how customers know this workshop. There is one; saying it again changes it."""
    shop = Shop.objects.select_for_update().first() or Shop()
    given = {"name": name, "address": address, "email": email, "phone": phone, "tax_number": tax_number}
    fields = {field: value.strip() for field, value in given.items()}
    before = {field: getattr(shop, field) for field in fields}
    for field, value in fields.items():
        setattr(shop, field, value)
    shop.full_clean()
    shop.save()
    record(who=who, at=now, what="workshop described", subject=subject_of(shop), before=before, after=fields)
    return shop


@transaction.atomic
def say_currency(*, code: str, who: str, now: datetime) -> Shop:
    """Say in which currency the shop counts. Said once: every amount that is kept is in it, so it never changes."""
    shop = Shop.objects.select_for_update().first() or Shop(name=_("This workshop"))
    if code not in MINOR_UNITS:
        raise ValidationError({"currency": _("Give the three letters of a currency in use, such as EUR.")})
    fixed = settings.CURRENCY or shop.currency
    if fixed and fixed != code:
        told = {"fixed": fixed}
        raise ValidationError({"currency": _("This shop counts in %(fixed)s already; that cannot change.") % told})
    if shop.currency == code:
        return shop
    shop.currency = code
    shop.save()
    record(who=who, at=now, what="currency said", subject=subject_of(shop), after={"currency": code})
    currency.forget()
    return shop
