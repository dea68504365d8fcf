"""Days and facts that reminders are about. Invented."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from shop.vendor_jobs.models import Reminder
from shop.vendor_jobs.reminding.raising import raise_reminders


def noon(day: date) -> datetime:
    """Noon of a day in the shop."""
    return timezone.make_aware(datetime.combine(day, time(12)))


def at(day: date) -> dict[str, Any]:
    """Who acts, at noon of a day."""
    return {"who": "ada", "now": noon(day)}


def raised(day: date) -> list[str]:
    """What is open once the service has looked at noon of a day: kinds with their level, without what may leave."""
    raise_reminders(now=noon(day))
    rows = Reminder.objects.filter(settled="").exclude(kind="may_leave").order_by("kind", "level")
    return [f"{kind} {level}" for kind, level in rows.values_list("kind", "level")]


def days(first: date, count: int) -> list[date]:
    return [first + timedelta(days=number) for number in range(count)]


def utc(*moment: int) -> datetime:
    return datetime(*moment, tzinfo=UTC)  # type: ignore[misc,arg-type]
