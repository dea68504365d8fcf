"""What waits for a person: a forgotten clocking whose end somebody says, and taps that could not be applied."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from shop.floor.clockings import Why, clock, lock
from shop.floor.models import Clocking, Tap
from shop.floor.taps import Answer, attempt
from shop.journal.services import record, subject_of
from shop.people.models import User


def waiting(person: User | None = None) -> QuerySet[Tap]:
    """Taps that wait for somebody, the oldest first."""
    rows = Tap.objects.filter(state=Tap.State.ASKED).select_related("person", "task", "tablet")
    return (rows.filter(person=person) if person else rows).order_by("at", "pk")


@transaction.atomic
def end_hanging(*, clocking: Clocking, ended_at: datetime, who: str, now: datetime) -> list[Answer]:
    """Say when a forgotten clocking ended, and apply the taps that waited for that; what became of each, in their order.

    Raises `ValidationError` at ``ends``.
    """
    lock(clocking.person)
    row = Clocking.objects.select_related("task", "person").get(pk=clocking.pk)
    _check_end(row, ended_at, now)
    row.ended_at, row.ended_how = ended_at, Clocking.How.RECALLED
    row.save(update_fields=["ended_at", "ended_how"])
    told = {"task": str(row.task), "from": row.began_at, "to": ended_at}
    record(who=who, at=now, what="end recalled", subject=subject_of(row.person), after=told)
    held = [tap for tap in waiting(row.person) if Answer.read(tap.answer).why == Why.HANGING]
    return [_tried(tap, who=who, now=now) for tap in held]


def _check_end(row: Clocking, ended_at: datetime, now: datetime) -> None:
    sentence = ""
    if row.ended_at is not None or row.superseded_at is not None:
        sentence = _("This has ended meanwhile. Look again.")
    elif ended_at < row.began_at:
        sentence = _("It began at %(time)s. Give a time after that.") % {"time": clock(row.began_at)}
    elif ended_at > now:
        sentence = _("That is still to come. Give a time up to now.")
    if sentence:
        raise ValidationError({"ends": sentence})


@transaction.atomic
def apply_again(*, tap: Tap, who: str, now: datetime) -> Answer:
    """Try a tap that waits once more, for the moment at which it was tapped. Raises `ValidationError` where it cannot be."""
    answer = _tried(_waiting_still(tap), who=who, now=now)
    if answer.state == Tap.State.ASKED:
        raise ValidationError(answer.words)
    return answer


@transaction.atomic
def leave(*, tap: Tap, who: str, now: datetime) -> None:
    """Let a tap be: it was seen, and nothing follows from it, or what follows is noted by hand."""
    row = _waiting_still(tap)
    record(who=who, at=now, what="tap left", subject=subject_of(row.person), after=_told(row))
    _settle(row, who=who, now=now, state=Tap.State.SETTLED)


def _waiting_still(tap: Tap) -> Tap:
    lock(tap.person)
    row = waiting().filter(pk=tap.pk).first()
    if row is None:
        raise ValidationError(_("Somebody settled this meanwhile. Look again."))
    return row


def _tried(tap: Tap, *, who: str, now: datetime) -> Answer:
    told = _told(tap)
    answer = attempt(tap)
    if answer.state != Tap.State.ASKED:
        record(who=who, at=now, what="tap applied later", subject=subject_of(tap.person), after=told)
        _settle(tap, who=who, now=now, state=tap.state)
    return answer


def _settle(tap: Tap, *, who: str, now: datetime, state: str) -> None:
    tap.state, tap.settled_at, tap.settled_by = state, now, who
    tap.save(update_fields=["state", "settled_at", "settled_by"])


def _told(tap: Tap) -> dict[str, object]:
    return {"tap": tap.kind, "task": str(tap.task or ""), "at": tap.at, "waited for": tap.reason}
