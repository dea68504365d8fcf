"""What is said afterwards: time that nobody tapped, and clockings that were different. The old rows stay beside the new ones."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.utils.translation import gettext as _

from shop.floor.clockings import Refused, alone_on, clock, lock, refuse_unauthorised, was_taken
from shop.floor.models import Clocking, Correction
from shop.journal.services import record, subject_of
from shop.people.models import User
from shop.routes.models import Task

#: Nobody is on one task for longer than this without a pause that ends it. Common practice, no source.
LONGEST_ROW = timedelta(hours=16)
MINUTE = timedelta(minutes=1)
#: Where a sentence belongs: the number of the row and one of these, as in ``0-begins``.
TASK, BEGINS, ENDS = "task", "begins", "ends"


@dataclass(frozen=True, slots=True)
class Row:
    """Somebody was on ``task`` from ``began_at`` to ``ended_at``; None: and still is."""

    task: Task
    began_at: datetime
    ended_at: datetime | None
    through_breaks: bool = False


class ChangedMeanwhileError(ValidationError):
    """Somebody corrected the same rows in the meantime."""

    def __init__(self) -> None:
        super().__init__(_("Somebody changed this in the meantime. Look again, then correct what is still wrong."))


@transaction.atomic
def recall(*, person: User, rows: Sequence[Row], who: str, now: datetime) -> list[Clocking]:
    """Note at the end of the day what was not tapped. Marked as recalled.

    Raises `ValidationError` with a sentence for each wrong field, ``0-begins`` for the first row; then nothing is stored.
    """
    lock(person)
    rows = _met(person, rows, replaced=[])
    _check(person, rows, replaced=[], now=now, may_be_open=False)
    made = _made(person, rows, who, how=Clocking.How.RECALLED)
    record(who=who, at=now, what="time recalled", subject=subject_of(person), after={"clockings": _told(made)})
    return made


@transaction.atomic
def correct(
    *, person: User, replaced: Sequence[Clocking], rows: Sequence[Row], reason: str, who: str, now: datetime
) -> Correction:
    """Put ``rows`` in the place of ``replaced``: change, split, merge, take back, all in one. The old rows stay.

    Raises `ValidationError` with sentences at the fields, ``0-begins`` for the first row and ``reason``; then nothing is stored.
    """
    lock(person)
    _check_reason(reason)
    old = list(Clocking.objects.filter(pk__in=[row.pk for row in replaced], person=person).select_related("task"))
    still = {row.pk: row.ended_at for row in replaced}
    if len(old) != len(still) or any(row.superseded_at or row.ended_at != still[row.pk] for row in old):
        raise ChangedMeanwhileError
    rows = _met(person, rows, replaced=old)
    _check(person, rows, replaced=old, now=now, may_be_open=any(row.ended_at is None for row in old))
    correction = Correction.objects.create(person=person, reason=reason.strip(), who=who, at=now)
    Clocking.objects.filter(pk__in=still).update(superseded_at=now, superseded_by=correction)
    made = _made(person, rows, who, how=Clocking.How.CORRECTED, correction=correction)
    record(
        who=who,
        at=now,
        what="clockings corrected",
        subject=subject_of(person),
        before={"clockings": _told(old)},
        after={"clockings": _told(made), "reason": correction.reason},
    )
    return correction


def _met(person: User, rows: Sequence[Row], *, replaced: Sequence[Clocking]) -> list[Row]:
    """Rows are typed to the minute. What begins in the minute in which something else ends begins when that ends.

    Also where somebody else then leaves a task that takes one person at a time.
    """
    ends = Clocking.objects.filter(superseded_at=None).exclude(pk__in=[row.pk for row in replaced])
    met = []
    for row in rows:
        within = Q(ended_at__gt=row.began_at, ended_at__lt=row.began_at + MINUTE, began_at__lt=row.began_at)
        whose = Q(person=person) | (Q(task=row.task, alone=True) if row.task.alone else Q())
        before = ends.filter(within, whose).order_by("-ended_at").first()
        met.append(replace(row, began_at=before.ended_at) if before is not None and before.ended_at else row)
    return met


def _made(person: User, rows: Sequence[Row], who: str, *, how: str, **more: Correction) -> list[Clocking]:
    """The rows as clockings. Somebody else may have come on a task for one since it was looked at: the database says so."""
    try:
        return [
            Clocking.objects.create(**_fields(person, row, who), how=how, ended_how=how if row.ended_at else "", **more)
            for row in rows
        ]
    except IntegrityError:
        raise ChangedMeanwhileError from None


def _fields(person: User, row: Row, who: str) -> dict[str, object]:
    return {
        "person": person,
        "task": row.task,
        "began_at": row.began_at,
        "ended_at": row.ended_at,
        "alone": row.task.alone,
        "through_breaks": row.through_breaks,
        "recorded_by": who,
    }


def _told(rows: Iterable[Clocking]) -> list[dict[str, object]]:
    return [{"task": str(row.task), "from": row.began_at, "to": row.ended_at} for row in rows]


# -- what may be said ------------------------------------------------------------------------------------------------------


def _check_reason(reason: str) -> None:
    if not reason.strip():
        raise ValidationError({"reason": _("Say why, in a few words.")})


def _check(
    person: User, rows: Sequence[Row], *, replaced: Sequence[Clocking], now: datetime, may_be_open: bool
) -> None:
    wrong: dict[str, list[str]] = {}
    for number, row in enumerate(rows):
        for field, sentence in _wrong(row, now, may_be_open=may_be_open).items():
            wrong.setdefault(f"{number}-{field}", []).append(sentence)
    if not wrong:
        wrong = _overlaps(rows) or _taken(person, rows, replaced)
    if wrong:
        raise ValidationError(wrong)


def _wrong(row: Row, now: datetime, *, may_be_open: bool) -> Mapping[str, str]:
    wrong = {}
    if row.began_at > now:
        wrong[BEGINS] = _("That is still to come. Give a time up to now.")
    if row.ended_at is None:
        if not may_be_open:
            wrong[ENDS] = _("Say when it ended.")
    elif row.ended_at <= row.began_at:
        wrong[ENDS] = _("It ends before it begins. Swap the times, or check the day.")
    elif row.ended_at > now:
        wrong[ENDS] = _("That is still to come. Give a time up to now.")
    elif row.ended_at - row.began_at > LONGEST_ROW:
        wrong[ENDS] = _("That is more than 16 hours in one go. Check the day, or note it in pieces.")
    try:
        refuse_unauthorised(row.task)
    except Refused as refusal:
        wrong[TASK] = refusal.words
    return wrong


def _overlaps(rows: Sequence[Row]) -> dict[str, list[str]]:
    order = sorted(range(len(rows)), key=lambda number: rows[number].began_at)
    for one, other in pairwise(order):
        end = rows[one].ended_at
        if end is None or end > rows[other].began_at:
            told = {"task": rows[one].task, "time": clock(rows[one].began_at)}
            return {f"{other}-{BEGINS}": [_("This overlaps “%(task)s” from %(time)s. Change one of the two.") % told]}
    return {}


def _taken(person: User, rows: Sequence[Row], replaced: Sequence[Clocking]) -> dict[str, list[str]]:
    wrong: dict[str, list[str]] = {}
    others = Clocking.objects.filter(person=person, superseded_at=None).exclude(pk__in=[row.pk for row in replaced])
    for number, row in enumerate(rows):
        clash = others.filter(Q(ended_at=None) | Q(ended_at__gt=row.began_at), ~Q(ended_at=F("began_at")))
        if row.ended_at is not None:
            clash = clash.filter(began_at__lt=row.ended_at)
        found = clash.select_related("task").order_by("began_at").first()
        if found is not None:
            wrong[f"{number}-{BEGINS}"] = [_noted(found)]
        elif row.task.alone and (other := _somebody_else(person, row)) is not None:
            wrong[f"{number}-{BEGINS}"] = [was_taken(other).words]
    return wrong


def _somebody_else(person: User, row: Row) -> Clocking | None:
    """Who else was on a task that takes one person at a time."""
    return alone_on(row.task, row.began_at, row.ended_at).exclude(person=person).first()


def _noted(found: Clocking) -> str:
    told = {"task": found.task, "begins": clock(found.began_at)}
    if found.ended_at is None:
        return _("“%(task)s” runs since %(begins)s. Change one of the two.") % told
    words = _("“%(task)s” is noted from %(begins)s to %(ends)s. Change one of the two.")
    return words % (told | {"ends": clock(found.ended_at)})
