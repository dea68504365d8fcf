"""Being on a task and off it. What was tapped or said about it stands beside: a tap, or a correction.

No journal entry is written for being put on or off: the clocking and its tap are kept as they were by guards, and say who and
when themselves. What is said afterwards, is (`shop.floor.corrections`).
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from shop.floor.forgotten import hangs
from shop.floor.models import Clocking, Tap
from shop.people.models import User
from shop.routes.models import Authorisation, Task, TaskStep

#: Tasks of these kinds have steps, whose time it is; the others are settled at the desk.
STEPPED = (Task.Kind.BIKE, Task.Kind.REWORK)
#: So much later may what somebody tapped first be written down, since both wait for the same lock.
MOMENT = timedelta(seconds=30)


@dataclass(frozen=True, slots=True)
class Why:
    """Why nobody was put on or off, for a program to read."""

    HANGING = "hanging"
    BEATEN = "beaten"
    ALONE = "alone"
    CLOSED = "closed"
    NOT_AUTHORISED = "not authorised"
    UNKNOWN = "unknown task"
    OTHER_ORDER = "other order"
    OVERLAP = "overlap"
    HELD = "held"
    TROUBLE = "trouble"


class Refused(Exception):
    """It cannot be done as asked: ``words`` say why, ``entry`` is the clocking that stands in the way."""

    def __init__(self, words: str, why: str, entry: Clocking | None = None) -> None:
        super().__init__(words)
        self.words, self.why, self.entry = words, why, entry


def open_of(person: User) -> Clocking | None:
    """What a person is on now. One query."""
    rows = Clocking.objects.filter(person=person, superseded_at=None, ended_at=None)
    return rows.select_related("task").first()


def hanging(person: User, *, now: datetime) -> Clocking | None:
    """The clocking a person forgot to end, by the rule of `shop.floor.forgotten`; at most two queries."""
    found = open_of(person)
    return found if found is not None and hangs(found, now=now) else None


def lock(person: User) -> None:
    """Until the transaction ends nobody else clocks this person. SQLite has locked the whole database already."""
    if connection.features.has_select_for_update:
        User.objects.select_for_update(no_key=True).filter(pk=person.pk).values_list("pk").get()


@transaction.atomic(savepoint=False)
def put_on(
    *, person: User, task: Task, at: datetime, who: str, tap: Tap | None = None, open_now: Any = ...
) -> Clocking:
    """Put ``person`` on ``task`` from ``at``; whatever they are on ends at the same instant. On it already: it goes on.

    ``open_now`` spares the look at what they are on, for a caller that has locked the person and looked. Raises `Refused`.
    """
    if open_now is ...:
        lock(person)
        open_now = open_of(person)
    if open_now is not None and open_now.task_id == task.pk:
        return _goes_on(open_now, at)
    refuse_task(task)
    at = _turn(task, at)
    if open_now is not None:
        _end(open_now, at, how=Clocking.How.TAP)
    return Clocking.objects.create(person=person, task=task, began_at=at, alone=task.alone, tap=tap, recorded_by=who)


@transaction.atomic(savepoint=False)
def take_off(*, person: User, at: datetime, open_now: Any = ...) -> Clocking | None:
    """End what ``person`` is on at ``at``; None where they are on nothing. Raises `Refused`."""
    if open_now is ...:
        lock(person)
        open_now = open_of(person)
    if open_now is not None:
        _end(open_now, at, how=Clocking.How.TAP)
    found: Clocking | None = open_now
    return found


def _goes_on(clocking: Clocking, at: datetime) -> Clocking:
    if at < clocking.began_at:
        raise _other_order(clocking)
    return clocking


def _end(clocking: Clocking, at: datetime, *, how: str) -> None:
    if at < clocking.began_at:
        raise _other_order(clocking)
    clocking.ended_at, clocking.ended_how = at, how
    clocking.save(update_fields=["ended_at", "ended_how"])


def _other_order(clocking: Clocking) -> Refused:
    told = {"task": clocking.task, "time": clock(clocking.began_at)}
    words = _("On “%(task)s” since %(time)s, which is after this tap. Say what is right.") % told
    return Refused(words, Why.OTHER_ORDER, clocking)


def refuse_task(task: Task) -> None:
    """Raise `Refused` where nobody may book time on ``task``. One query.

    One that waits for something may be worked on: time is what it is. Pages say that it waits.
    """
    if task.closed_at is not None:
        raise Refused(_("“%(task)s” is closed. Choose another task, or ask the manager.") % {"task": task}, Why.CLOSED)
    refuse_unauthorised(task)


def refuse_unauthorised(task: Task) -> None:
    """Raise `Refused` where a step of ``task`` is not authorised, or where it has none any more. One query."""
    authorised = Exists(Authorisation.objects.filter(step_uid=OuterRef("step__uid")))
    found = set(TaskStep.objects.filter(task=task).order_by().values_list(authorised).distinct())
    if not found and task.kind in STEPPED:
        words = _("The steps of “%(task)s” are in another task now. Choose that one from the list.") % {"task": task}
        raise Refused(words, Why.CLOSED)
    if (False,) in found:
        words = _("“%(task)s” has work that nobody authorised. Ask the desk before you begin.") % {"task": task}
        raise Refused(words, Why.NOT_AUTHORISED)


def _turn(task: Task, at: datetime) -> datetime:
    """From when a person can be on ``task``: ``at``, or a moment later where it takes one at a time and another has just left.

    In words, what the database refuses in any case. One query, for such a task alone.
    """
    other = alone_on(task, at, None).last() if task.alone else None
    if other is None:
        return at
    if other.ended_at is None:
        raise taken(other)
    if other.began_at <= at and other.ended_at - at <= MOMENT:
        return other.ended_at
    raise was_taken(other)


def alone_on(task: Task, begins: datetime, ends: datetime | None) -> QuerySet[Clocking]:
    """Who was on ``task`` as the only one between ``begins`` and ``ends`` (None: and ever since), in order."""
    rows = Clocking.objects.filter(Q(ended_at=None) | Q(ended_at__gt=begins), task=task, superseded_at=None, alone=True)
    rows = rows.exclude(ended_at=F("began_at")).select_related("task", "person").order_by("began_at", "pk")
    return rows.filter(began_at__lt=ends) if ends is not None else rows


def was_taken(other: Clocking) -> Refused:
    told = {"person": other.person, "task": other.task, "begins": clock(other.began_at), "ends": _ended(other)}
    words = _("%(person)s was on “%(task)s” from %(begins)s to %(ends)s, and it takes one person at a time.") % told
    return Refused(words, Why.OVERLAP, other)


def _ended(other: Clocking) -> str:
    return clock(other.ended_at) if other.ended_at else _("now")


def taken(other: Clocking) -> Refused:
    told = {"person": other.person, "task": other.task, "time": clock(other.began_at)}
    words = _("%(person)s is on “%(task)s” since %(time)s, and it takes one person at a time.") % told
    return Refused(words, Why.ALONE, other)


def one_dot(sentence: str) -> str:
    """A sentence that ends with a time of day such as “9 a.m.” ends in one dot."""
    return sentence.removesuffix(".") if sentence.endswith("..") else sentence


def clock(at: datetime) -> str:
    """The local time of day, as the shop writes it."""
    return date_format(localtime(at), "TIME_FORMAT")
