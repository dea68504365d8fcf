"""How long a task still takes, as whoever works on it says: it stands over what is reckoned, until something else is said."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine.attended import attended, within
from shop.floor.models import Clocking, HoursLeft
from shop.floor.selectors import LIVE, pauses, span_of
from shop.journal.services import record, subject_of
from shop.people.models import User
from shop.routes.models import Task


@transaction.atomic
def say_left(*, uid: UUID, task: Task, minutes: int, person: User, now: datetime) -> HoursLeft:
    """Keep what was said. ``uid`` is that of the form: sent twice, it is kept once. Raises where the task is closed."""
    task = Task.objects.select_for_update().get(pk=task.pk)
    before = HoursLeft.objects.filter(uid=uid).first()
    if before is not None:
        return before
    if task.closed_at is not None:
        raise ValidationError(_("This task is done, so nothing is left of it."), code="closed")
    row = HoursLeft(uid=uid, task=task, minutes=minutes, person=person, at=now)
    row.full_clean()
    row.save(force_insert=True)
    after = {"still takes minutes": minutes}
    record(who=person.username, at=now, what="hours left said", subject=subject_of(task), after=after)
    return row


def said(task: Task) -> QuerySet[HoursLeft]:
    """What was said of a task, the newest first."""
    return task.hours_left.select_related("person").order_by("-at", "-pk")


def still_left(tasks: Collection[int], *, now: datetime) -> dict[int, int]:
    """Task to the minutes that are left by what was said last, less what was clocked since; only those of which it was said.

    Three queries, or one where nobody said anything.
    """
    newest: dict[int, HoursLeft] = {}
    for row in HoursLeft.objects.filter(task__in=tasks).order_by("at", "pk"):
        newest[row.task_id] = row
    if not newest:
        return {}
    since = {task: row.at for task, row in newest.items()}
    spans = []
    for clocking in Clocking.objects.filter(LIVE, task__in=newest).order_by("began_at", "pk"):
        spans += within([span_of(clocking, now)], since[clocking.task_id], max(now, since[clocking.task_id]))
    clocked = attended(spans, pauses(), timezone.get_current_timezone()).tasks
    return {task: max(row.minutes - clocked.get(task, 0), 0) for task, row in newest.items()}
