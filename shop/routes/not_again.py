"""Taking back that steps have to be done again: they are on the visit they were on, as they were."""

import json
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from shop.journal.models import Entry
from shop.journal.services import record, subject_of
from shop.restorations.services import hold_scope
from shop.routes.models import Done, Step, Task, TaskStep


@transaction.atomic
def not_again(*, task: Task, who: str, now: datetime) -> None:
    """Take back what `again` opened: ``task`` is the one it made. Whether it may be is looked at by who calls it.

    Refused where one of its steps is done again already, or was opened once more.
    """
    assert task.origin_uid is not None, "rework comes from a step"
    step = Step.objects.select_related("part").get(uid=task.origin_uid)
    hold_scope(step.part.restoration_id)
    task.refresh_from_db()
    if task.closed_at is not None:
        raise ValidationError(_("This was taken back or ended already. Load the page again."), code="closed")
    opened = _opened(step, task)
    _refuse_used(opened, task)
    lines = TaskStep.objects.filter(step__in=opened, visit=F("step__visit"))
    lines.delete()
    Step.objects.filter(pk__in=opened).update(visit=F("visit") - 1)
    task.closed_at = now
    task.save(update_fields=["closed_at"])
    before = {
        "part": step.part.name,
        "task": task.name,
        "steps": [{"name": str(one), "uid": one.uid} for one in opened.values()],
    }
    record(who=who, at=now, what="step not done again", subject=subject_of(step), before=before)


def _opened(step: Step, task: Task) -> dict[int, Step]:
    """The steps that were opened with this task, as the journal has them: vendor work is in no task."""
    entries = Entry.objects.filter(subject_uid=step.uid, what="step done again", at=task.made_at).order_by("-pk")
    entry = entries.first()
    if entry is None:
        raise ValidationError(_("Nothing is on record of what was opened with it."), code="no record")
    uids = [item["uid"] for item in json.loads(entry.after)["steps"]]
    return {row.pk: row for row in Step.objects.filter(uid__in=uids).select_related("operation", "service")}


def _refuse_used(opened: dict[int, Step], task: Task) -> None:
    if Done.objects.filter(step__in=opened, visit=F("step__visit"), undone_at__isnull=True).exists():
        raise ValidationError(_("One of its steps is done again already. Take that back first."), code="done")
    if task.remedies.filter(done_at__isnull=False).exists():
        raise ValidationError(
            _("Work was done already so that it can be done again. Take that back first."), code="done"
        )
    if any(line.visit != opened[line.step_id].visit for line in task.lines.all() if line.step_id in opened):
        raise ValidationError(_("It was opened once more since. Take that back first."), code="opened since")
