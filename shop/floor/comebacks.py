"""A bike that came back after hand-over: what is wrong, the step it comes from, who pays, and the task it is put right in."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.floor.models import Comeback, HandedOver
from shop.journal.services import record, subject_of
from shop.methods.models import Cause
from shop.restorations.models import Restoration
from shop.restorations.services import hold_scope
from shop.routes.models import Step, Task
from shop.routes.tasks import close_task, make_task

LONGEST_NAME = 120


@transaction.atomic
def note_comeback(
    *,
    restoration: Restoration,
    step: Step,
    words: str,
    pays: str,
    came_on: date,
    cause: Cause | None = None,
    uid: UUID | None = None,
    who: str,
    now: datetime,
) -> Comeback:
    """Keep a comeback and make its task: the step it comes from authorises it. ``uid`` is that of the form, kept once."""
    hold_scope(restoration.pk)
    before = Comeback.objects.filter(uid=uid).first() if uid else None
    if before is not None:
        return before
    _refuse(restoration, step, came_on, timezone.localdate(now))
    row = Comeback(
        restoration=restoration,
        step=step,
        words=words.strip(),
        cause=cause,
        pays=pays,
        came_on=came_on,
        who=who,
        at=now,
    )
    row.uid = uid or row.uid
    row.full_clean(exclude={"restoration", "step", "cause", "task"})
    name = _("Comeback: %(words)s") % {"words": row.words}
    row.task = make_task(
        name=name[:LONGEST_NAME],
        kind=Task.Kind.COMEBACK,
        restoration=restoration,
        origin_uid=step.uid,
        place=step.operation.place if step.operation else None,
        grade=step.operation.grade if step.operation else None,
        who=who,
        now=now,
    )
    row.save(force_insert=True)
    told: dict[str, object] = {
        "what is wrong": row.words,
        "step": f"{step.part}: {step}",
        "who pays": row.get_pays_display(),
        "came back on": came_on,
    }
    told |= {"cause": cause.name} if cause else {}
    record(who=who, at=now, what="comeback noted", subject=subject_of(restoration), after=told)
    return row


def _refuse(restoration: Restoration, step: Step, came_on: date, today: date) -> None:
    handed = HandedOver.objects.filter(restoration=restoration).values_list("on", flat=True).first()
    if handed is None:
        said = _("This bike is not handed over yet. What is wrong with it is a snag: note it there.")
        raise ValidationError(said, code="not handed over")
    if step.part.restoration_id != restoration.pk:
        raise ValidationError({"step": _("That step is of another bike. Choose one of this bike.")}, code="bike")
    if came_on > today:
        raise ValidationError({"came_on": _("This day is still to come. Give the day it came back.")}, code="to come")
    if came_on < handed:
        said = _("That is before it was handed over. Give the day it came back.")
        raise ValidationError({"came_on": said}, code="before hand-over")


@transaction.atomic
def settle_comeback(*, comeback: Comeback, how: str, who: str, now: datetime) -> Comeback:
    """Say what was done, and take its task off the list. Refused while somebody is on it."""
    hold_scope(comeback.restoration_id)
    comeback.refresh_from_db()
    if comeback.settled_at is not None:
        return comeback
    if not how.strip():
        raise ValidationError({"how": _("Say what was done.")}, code="required")
    comeback.settled_how, comeback.settled_at = how.strip(), now
    comeback.full_clean(exclude={"restoration", "step", "cause", "task"}, validate_unique=False)
    close_task(task=comeback.task, who=who, now=now)
    comeback.save(update_fields=["settled_how", "settled_at"])
    told = {"what is wrong": comeback.words, "what was done": comeback.settled_how}
    record(who=who, at=now, what="comeback settled", subject=subject_of(comeback.restoration), after=told)
    return comeback


def comebacks() -> QuerySet[Comeback]:
    """All of them, those still open first, then the newest."""
    rows = Comeback.objects.select_related(
        "restoration__customer", "step__operation", "step__service__vendor", "step__part", "cause", "task"
    )
    return rows.order_by(F("settled_at").asc(nulls_first=True), "-came_on", "-pk")


@dataclass(frozen=True, slots=True)
class Counted:
    """So many comebacks of one work, one cause, and one who pays; the largest first."""

    works: list[tuple[str, int]]
    causes: list[tuple[str, int]]
    pays: list[tuple[str, int]]


def counted(rows: list[Comeback]) -> Counted:
    """What comes back most: by the work it comes from, by cause, by who pays."""
    none = _("no cause said")
    return Counted(
        Counter(str(row.step) for row in rows).most_common(),
        Counter(str(row.cause) if row.cause else none for row in rows).most_common(),
        Counter(str(row.get_pays_display()) for row in rows).most_common(),
    )
