"""Which reminders somebody has before them."""

from collections.abc import Collection
from datetime import date

from django.db.models import Q, QuerySet

from shop.people.models import User
from shop.people.roles import ROLE_DESK, ROLE_MANAGER
from shop.vendor_jobs.models import Kind, Reminder

OUT = (Kind.DUE_SOON, Kind.DUE_TODAY, Kind.OVERDUE, Kind.CLOSED_DAY)


def open_reminders(*, roles: Collection[str], today: date) -> QuerySet[Reminder]:
    """What is open and not put off, with all that its words need. What came back since is not told any more. One query."""
    seen = Q(snoozed_until__isnull=True) | Q(snoozed_until__lte=today)
    rows = Reminder.objects.filter(seen, settled=Reminder.Settled.OPEN, role__in=roles)
    rows = rows.exclude(kind__in=OUT, job__back_on__isnull=False).exclude(
        kind=Kind.MUST_LEAVE, job__sent_on__isnull=False
    )
    return with_words(rows).order_by("about_on", "pk")


def with_words(rows: QuerySet[Reminder]) -> QuerySet[Reminder]:
    """With what `words` reads of them."""
    return rows.select_related(
        "job__service__vendor",
        "order__supplier",
        "step__part",
        "step__service__vendor",
        "step__operation",
        "restoration__customer",
    )


def highest(rows: Collection[Reminder]) -> list[Reminder]:
    """Of what reached the manager only that: who hears of both levels hears of one."""
    climbed = {_of(row) for row in rows if row.level}
    return [row for row in rows if row.level or _of(row) not in climbed]


def _of(row: Reminder) -> tuple[object, ...]:
    return row.kind, row.job_id, row.order_id, row.step_id


def audience() -> dict[int, tuple[User, frozenset[str]]]:
    """Who is told by mail, and of whose reminders: the desk and the manager, who stands in where nobody is at the desk.

    Two queries.
    """
    people = User.objects.filter(is_active=True).exclude(email="").prefetch_related("groups").order_by("pk")
    roles = {row.pk: _roles(row) & {ROLE_DESK, ROLE_MANAGER} for row in people}
    desk = any(ROLE_DESK in held for held in roles.values())
    return {
        row.pk: (row, frozenset(roles[row.pk] if desk else roles[row.pk] | {ROLE_DESK}))
        for row in people
        if roles[row.pk]
    }


def _roles(row: User) -> frozenset[str]:
    if row.is_superuser:
        return frozenset({ROLE_DESK, ROLE_MANAGER})
    return frozenset(group.name for group in row.groups.all())
