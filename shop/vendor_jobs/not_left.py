"""A lot that was said to have left and had not: its pieces are here, and a new lot like it is planned in its place.

What went out is kept as it went, so the old one stays, with nothing that went along.
"""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.routes.models import Away
from shop.vendor_jobs.lots import AGREED, LINE_WORDS, WORDS, hold, plan_lot, settle
from shop.vendor_jobs.models import Job, Line

#: What a new lot takes over of its lines; its tags are read again as it leaves.
OF_LINES = [name for name in LINE_WORDS if name != "tags"]


@transaction.atomic
def had_not_left(*, job: Job, who: str, now: datetime) -> Job:
    """The lot that is planned in place of ``job``, with the same words, price and values. On the same day only."""
    job = hold(job)
    _refuse_gone(job, now)
    lines = list(job.lines.filter(outcome=Line.Outcome.OPEN).select_related("step__part__restoration"))
    steps = [line.step for line in lines]
    for line in lines:
        settle(line, Line.Outcome.NOT_SENT, who=who, now=now)
    job.back_on = job.sent_on
    job.save(update_fields=["back_on"])
    Away.objects.filter(step__in=steps, ended_on__isnull=True).update(ended_on=job.sent_on, due_on=None, changed_at=now)
    new = plan_lot(steps=steps, redo_of=job.redo_of, who=who, now=now)
    for name in (*WORDS, *AGREED):
        setattr(new, name, getattr(job, name))
    new.save(update_fields=[*WORDS, *AGREED])
    of_step = {line.step_id: line for line in lines}
    for line in new.lines.all():
        for name in OF_LINES:
            setattr(line, name, getattr(of_step[line.step_id], name))
        line.save(update_fields=OF_LINES)
    before, after = {"out since": job.sent_on}, {"lot": str(new)}
    record(who=who, at=now, what="lot had not left", subject=subject_of(job), before=before, after=after)
    return new


def may_be_a_slip(job: Job, *, now: datetime) -> bool:
    """Whether it left today as far as we said, and nothing followed from it. Two queries at most."""
    if job.sent_at is None or job.back_on is not None or timezone.localdate(job.sent_at) != timezone.localdate(now):
        return False
    followed = job.lines.exclude(outcome__in=[Line.Outcome.OPEN, Line.Outcome.NOT_SENT])
    return not (followed.exists() or job.lines.filter(claims__isnull=False).exists() or job.charges.exists())


def _refuse_gone(job: Job, now: datetime) -> None:
    if not may_be_a_slip(job, now=now):
        said = _("Something followed from it, or it was said on another day. Count it in, and say what came of it.")
        raise ValidationError(said, code="followed")
