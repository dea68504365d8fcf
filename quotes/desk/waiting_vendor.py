"""What waits at vendors and for them: lots that are late, and those that must leave today."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.db.models import Count, Min, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.desk.today import BAD, MIND, SHOWN
from quotes.desk.waiting import Group, Waits
from shop.routes.models import Authorisation, Away, Done, PlannedStep
from shop.vendor_jobs.models import Job, Promise


def groups(day: date) -> Iterable[Group]:
    """What is late and due today, and what must leave today; two queries."""
    return _due(day), _must_leave(day)


def _due(day: date) -> Group:
    newest = Promise.objects.filter(job=OuterRef("pk")).order_by("-pk").values("due_on")[:1]
    rows = Job.objects.filter(sent_on__isnull=False, back_on__isnull=True).annotate(due=Subquery(newest))
    rows = rows.filter(due__lte=day).select_related("service__vendor").order_by("due", "number")
    return Group(
        "vendor-late",
        _("Due back from vendors"),
        _("Ask the vendor, and note the new day: the plan goes by it."),
        [_late(job, day) for job in rows[:SHOWN]],
    )


def _late(job: Job, day: date) -> Waits:
    late: int = (day - job.due).days  # type: ignore[attr-defined]  # annotated
    tag = ngettext("%(count)s day late", "%(count)s days late", late) % {"count": late} if late else _("due today")
    address = reverse("desk:vendor_job", args=[job.uid])
    return Waits(None, str(job.service.name), address, tag, BAD if late else MIND, name=f"{job}, {job.vendor}")


def _must_leave(day: date) -> Group:
    """By vendor: how many steps the plan says must be gone by today, and are not."""
    rows = _not_gone(day).values("step__service__vendor__name").annotate(parts=Count("step"), first=Min("leave_by"))
    found: Sequence[Any] = list(rows.order_by("first", "step__service__vendor__name")[:SHOWN])
    return Group(
        "vendor-leaves",
        _("Must leave for vendors"),
        _("Later, and the ready day is later too."),
        [_leaves(row, day) for row in found],
    )


def _not_gone(day: date) -> QuerySet[PlannedStep]:
    agreed = Authorisation.objects.values("step_uid")
    away = Away.objects.filter(ended_on__isnull=True).values("step")
    done = Done.objects.filter(undone_at__isnull=True).values("step")
    live = Q(step__removed_at__isnull=True, step__part__removed_at__isnull=True, step__service__isnull=False)
    rows = PlannedStep.objects.filter(live, leave_by__lte=day, step__uid__in=agreed)
    return rows.exclude(step__in=away).exclude(step__in=done)


def _leaves(row: dict[str, Any], day: date) -> Waits:
    count, first = row["parts"], row["first"]
    assert isinstance(count, int)
    text = ngettext("%(count)s part must be gone by today", "%(count)s parts must be gone by today", count)
    tag, tone = (_("late"), BAD) if isinstance(first, date) and first < day else (_("today"), MIND)
    name = str(row["step__service__vendor__name"])
    return Waits(None, text % {"count": count}, reverse("desk:vendor_work"), tag, tone, name=name)
