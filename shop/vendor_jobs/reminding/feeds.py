"""A secret address under which a person's calendar program reads what is due and what must leave: no money, no customers."""

import hashlib
import secrets
from collections.abc import Iterable
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.journal.services import record, subject_of
from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, has_role
from shop.vendor_jobs.models import Feed
from shop.vendor_jobs.reminding.icalendar import AllDay, calendar
from shop.vendor_jobs.standing import Board, Leaving, Lot, board

#: 256 bits; RELIABILITY S2 asks for 128.
SECRET_BYTES = 32
#: What can never be a secret, before anything is worked out from it.
LONGEST = 100


@transaction.atomic
def make(*, person: User, who: str, now: datetime) -> str:
    """A new address for a person; the one before ends. The secret is told this once: what is kept is its hash."""
    User.objects.select_for_update().get(pk=person.pk)
    _end(person, now)
    secret = secrets.token_urlsafe(SECRET_BYTES)
    row = Feed.objects.create(person=person, secret_sha256=_hash(secret), made_at=now)
    record(who=who, at=now, what="calendar address made", subject=subject_of(person), after={"address": row.uid})
    return secret


@transaction.atomic
def end(*, person: User, who: str, now: datetime) -> None:
    """The address of a person opens nothing any more; ended twice is ended once."""
    User.objects.select_for_update().get(pk=person.pk)
    row = _end(person, now)
    if row is not None:
        record(who=who, at=now, what="calendar address ended", subject=subject_of(person), before={"address": row.uid})


def _end(person: User, now: datetime) -> Feed | None:
    row = Feed.objects.filter(person=person, ended_at__isnull=True).first()
    if row is not None:
        row.ended_at = now
        row.save(update_fields=["ended_at"])
    return row


def of(person: User) -> Feed | None:
    """The address that is open; when it was made, not what it is."""
    return Feed.objects.filter(person=person, ended_at__isnull=True).first()


def find(secret: str) -> Feed | None:
    """The feed a secret opens, while its person may see vendor work. Looked up by its hash, so no guess comes closer."""
    if len(secret) > LONGEST:
        return None
    row = Feed.objects.select_related("person").filter(secret_sha256=_hash(secret), ended_at__isnull=True).first()
    return row if row is not None and has_role(row.person, ROLE_DESK, ROLE_MANAGER) else None


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def file(*, now: datetime) -> bytes:
    """The calendar: a day for every lot that is due back, and for all that must leave."""
    return calendar(_("Vendor work"), events(board(now=now), now=now))


def events(found: Board, *, now: datetime) -> Iterable[AllDay]:
    """Named by vendor, lot and service. A bike's title may hold its owner's name, so it is left out."""
    for lot in found.out:
        if lot.promise is not None:
            said = _("%(lot)s due back from %(vendor)s (%(service)s)") % _names(lot)
            yield AllDay(f"due-{lot.job.uid}@bareframe", lot.promise.due_on, said, lot.promise.at)
    for lot in found.planned:
        day = min((one for one in (lot.job.leave_on, lot.leave_by) if one is not None), default=None)
        if day is not None:
            said = _("%(lot)s must leave for %(vendor)s (%(service)s)") % _names(lot)
            yield AllDay(f"leave-{lot.job.uid}@bareframe", day, said, lot.job.made_at)
    yield from _loose([*found.may_leave, *found.later], now)


def _names(lot: Lot) -> dict[str, object]:
    return {"lot": lot.job, "vendor": lot.job.service.vendor, "service": lot.job.service.name}


def _loose(leaving: Iterable[Leaving], now: datetime) -> Iterable[AllDay]:
    """What is in no lot yet, together for each service and day."""
    together: dict[tuple[int, date], list[Leaving]] = {}
    for one in leaving:
        if one.leave_by is not None and one.step.service_id is not None:
            together.setdefault((one.step.service_id, one.leave_by), []).append(one)
    for (_service, day), group in sorted(together.items()):
        service = group[0].step.service
        assert service is not None
        said = ngettext(
            "%(count)d part must leave for %(vendor)s (%(service)s)",
            "%(count)d parts must leave for %(vendor)s (%(service)s)",
            len(group),
        )
        told = {"count": len(group), "vendor": service.vendor, "service": service.name}
        yield AllDay(f"leave-{service.uid}-{day}@bareframe", day, said % told, now)
