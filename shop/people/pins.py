"""PINs: six digits by which somebody is known at a tablet, and how little guessing brings.

Every try is counted before it is looked at, so that no number of guesses at once gets more of them looked at.
"""

import logging
import secrets
from datetime import datetime, timedelta

from django.contrib.auth.hashers import check_password, make_password
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Case, F, Q, Value, When
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.people import pin_alarms
from shop.people.models import Pin, PinTry, Tablet, User

log = logging.getLogger("bareframe.people")

#: Source: NIST SP 800-63B 5.1.1.1, a secret chosen at random has at least six digits.
DIGITS = 6
#: So many misses lock a PIN for a while, so many in a row until the manager unlocks it. Source: NIST SP 800-63B 5.2.2 allows 100.
FIRST, LAST = 5, 10
LOCKED_FOR = timedelta(minutes=15)


class Locked(Exception):
    """No PIN is looked at now; the text says why and what to do, whatever was typed."""


@transaction.atomic
def give_pin(*, person: User, who: str, now: datetime) -> str:
    """A new PIN for ``person``, told this once. An older one, and what was unlocked with it, ends."""
    pin = f"{secrets.randbelow(10**DIGITS):0{DIGITS}}"
    fields = {"secret": make_password(pin), "given_at": now, "given_by": who, "tries": 0, "locked_until": None}
    Pin.objects.update_or_create(person=person, defaults=fields)
    record(who=who, at=now, what="PIN given", subject=subject_of(person))
    return pin


@transaction.atomic
def unlock(*, person: User, who: str, now: datetime) -> None:
    """Let the PIN be tried again."""
    if Pin.objects.filter(person=person).exclude(tries=0).update(tries=0, locked_until=None):
        record(who=who, at=now, what="PIN unlocked", subject=subject_of(person))


def check_pin(*, person: User, pin: str, tablet: Tablet | None, now: datetime, by: User | None = None) -> bool:
    """Whether ``pin`` is that of ``person``. Only a tablet, or ``by`` somebody who is signed in, may ask.

    Raises `Locked` with a sentence where nothing is looked at. Must be called outside a transaction: a try that is rolled
    back would not count.
    """
    if (tablet is None) == (by is None):
        raise PermissionDenied(_("PINs are asked for on a tablet of the workshop, or of somebody who is signed in."))
    refusal = why_not(person, now=now)  # so that hammering at a locked PIN holds up nobody
    tried = None
    if not refusal:
        tried, refusal = _reserve(person, tablet, by, now)
    if tried is None:
        log.warning("pin refused person=%s place=%s", person.pk, pin_alarms.place(tablet, by))
        raise Locked(refusal)
    right = person.is_active and check_password(pin, Pin.objects.values_list("secret", flat=True).get(person=person))
    _settle(tried, right=right, now=now)
    log.info("pin %s person=%s place=%s", "right" if right else "wrong", person.pk, pin_alarms.place(tablet, by))
    return right


@transaction.atomic(durable=True)
def _reserve(person: User, tablet: Tablet | None, by: User | None, now: datetime) -> tuple[PinTry | None, str]:
    """Count a try, or say why there is none."""
    pin_alarms.hold()
    if pin_alarms.too_many(tablet, by, now=now):
        return None, _("Too many wrong PINs within an hour. Wait, or ask the manager to let them go on.")
    open_now = Q(locked_until__isnull=True) | Q(locked_until__lte=now)
    counted = Pin.objects.filter(open_now, person=person, tries__lt=LAST).update(
        tries=F("tries") + 1,
        locked_until=Case(When(tries=FIRST - 1, then=Value(now + LOCKED_FOR)), default=Value(None)),
    )
    if not counted:
        return None, why_not(person, now=now) or _("Too many tries at once. Try again.")
    return PinTry.objects.create(person=person, tablet=tablet, by=by, at=now), ""


def why_not(person: User, *, now: datetime) -> str:
    """Why no PIN of ``person`` is looked at; empty where one would be, as far as it hangs on the person. One query."""
    pin = Pin.objects.filter(person=person).first()
    if pin is None:
        return _("%(person)s has no PIN yet. Ask the manager for one.") % {"person": person}
    if pin.tries >= LAST:
        return _("Ten wrong PINs in a row. Ask the manager to unlock it, or for a new one.")
    if pin.locked_until is None or pin.locked_until <= now:
        return ""
    at = time_format(timezone.localtime(pin.locked_until), "TIME_FORMAT")
    return _("Five wrong PINs in a row. Try again after %(time)s, or ask the manager to unlock it.") % {"time": at}


@transaction.atomic(durable=True)
def _settle(tried: PinTry, *, right: bool, now: datetime) -> None:
    if right:
        PinTry.objects.filter(pk=tried.pk).update(right=True)
        Pin.objects.filter(person=tried.person).update(tries=0, locked_until=None)
    else:
        pin_alarms.hold()
        pin_alarms.raise_where_due(tried, now=now)


@transaction.atomic
def ask_to_clock(*, asked: bool, who: str, now: datetime) -> None:
    """Say whether clocking on a tablet asks for the PIN. Overrides and corrections always do."""
    shop = pin_alarms.hold()
    before = {"PIN to clock": shop.pin_to_clock}
    shop.pin_to_clock = asked
    shop.save(update_fields=["pin_to_clock"])
    after = {"PIN to clock": asked}
    record(who=who, at=now, what="PIN to clock said", subject=subject_of(shop), before=before, after=after)
