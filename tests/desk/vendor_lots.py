"""Lots as they stand today, for pages that go by the day. Invented."""

from datetime import timedelta
from typing import Any

from django.utils import timezone

from shop.restorations.models import Part
from shop.routes.models import Plan, PlannedStep
from shop.vendor_jobs.models import Job
from shop.vendor_jobs.sending import Told, send_out
from tests.vendor_jobs.lots import planned, plating


def now() -> dict[str, Any]:
    return {"who": "ada", "now": timezone.now()}


def out(part: Part, *, due: int | None = None, since: int = -5) -> Job:
    """A lot that left ``since`` days from today and is due ``due`` days from today."""
    today = timezone.localdate()
    told = None if due is None else Told(today + timedelta(days=due), said_by="Iris")
    return send_out(job=planned(part), on=today + timedelta(days=since), told=told, **now())


def must_leave(part: Part, days: int) -> None:
    """The plan says that it must leave so many days from today."""
    day, at = timezone.localdate(), timezone.now()
    days_of = dict.fromkeys(("starts_on", "ready_certain", "ready_likely", "ready_kept"), day)
    made = {"scope_version": 1, "rests_on": "", "made_at": at, "content": "", **days_of}
    plan, _made = Plan.objects.get_or_create(restoration=part.restoration, defaults=made)
    moments = dict.fromkeys(("earliest_start", "earliest_finish", "latest_start", "latest_finish"), at)
    leave_by = day + timedelta(days=days)
    PlannedStep.objects.create(plan=plan, step=plating(part), leave_by=leave_by, **moments)
