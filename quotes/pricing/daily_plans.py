"""A plan of today for every agreed bike, whether anybody looks or not: its customer reads the day from it.

A plan hangs on the day it is made: on what has to come first, on holidays that moved nearer, on held days. So the sweep
asks for each bike once a day, and once more when its scope moved on, and when something happened to it since the plan was
made: a step was done, or is not done after all, or goes round again; something left, came, was lost, or was told for
another day.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, time
from typing import Any

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from quotes.engine.errors import BadInput
from quotes.pricing import planning
from quotes.pricing.models import IssuedQuote, Outcome, Stage
from quotes.pricing.selectors import draft_of, priced
from shop.outbox.handlers import Delivery
from shop.outbox.selectors import asked_for
from shop.outbox.services import publish
from shop.restorations.models import Restoration
from shop.routes.models import Away, Done, Task

PLAN_HANDLER = "plan of a bike"


def plan_key(restoration: Restoration, now: datetime, event: datetime | None = None) -> str:
    """One plan for one scope on one day, and one more for the last ``event`` that the plan kept does not know."""
    of_the_day = f"plan/{restoration.uid}/{restoration.scope_version}/{timezone.localdate(now)}"
    return f"{of_the_day}/{event.astimezone(UTC).isoformat()}" if event else of_the_day


def without_plan(now: datetime) -> QuerySet[Restoration]:
    """Agreed restorations whose plan is missing, of another scope, of an earlier day, or older than what happened; one query.

    Each comes with ``planned_at``, and the last of each kind of `EVENTS` by name.
    """
    today = timezone.make_aware(datetime.combine(timezone.localdate(now), time.min))
    agreed = IssuedQuote.objects.filter(
        restoration=OuterRef("pk"), stage=Stage.MAIN, outcome__kind=Outcome.Kind.ACCEPTED
    )
    old = Q(plan__isnull=True) | ~Q(plan__scope_version=F("scope_version")) | Q(plan__made_at__lt=today)
    for name in EVENTS:
        old |= Q(**{f"{name}__gt": F("planned_at")})
    rows = Restoration.objects.annotate(
        planned_at=F("plan__made_at"), **{name: last() for name, last in EVENTS.items()}
    )
    return rows.filter(Exists(agreed), old, draft__isnull=False)


def _last(rows: QuerySet[Any], when: str) -> Subquery:
    """The last instant ``when`` of ``rows``."""
    return Subquery(rows.filter(**{f"{when}__isnull": False}).order_by(f"-{when}").values(when)[:1])


_OF_A_STEP = {"step__part__restoration": OuterRef("pk")}
#: What a plan rests on besides the scope and the day, and when it last changed.
EVENTS: Mapping[str, Callable[[], Subquery]] = {
    "last_done": lambda: _last(Done.objects.filter(**_OF_A_STEP), "at"),
    "last_undone": lambda: _last(Done.objects.filter(**_OF_A_STEP), "undone_at"),
    "last_away": lambda: _last(Away.objects.filter(**_OF_A_STEP), "changed_at"),
    "last_again": lambda: _last(Task.objects.filter(restoration=OuterRef("pk"), kind=Task.Kind.REWORK), "made_at"),
}


def _event(restoration: Any) -> datetime | None:
    """The last thing that happened to one of `without_plan` since its plan was made."""
    if restoration.planned_at is None:
        return None
    times = [at for name in EVENTS if (at := getattr(restoration, name))]
    return max((at for at in times if at > restoration.planned_at), default=None)


def mend(*, now: datetime) -> None:
    """Ask for the plans that are missing; asking twice is asking once."""
    missing = {plan_key(row, now, _event(row)): row for row in without_plan(now)}
    asked = asked_for(PLAN_HANDLER, list(missing))
    wanted = {key: restoration for key, restoration in missing.items() if key not in asked}
    if wanted:
        with transaction.atomic():
            for key, restoration in wanted.items():
                payload = {"restoration": restoration.pk}
                publish(key=key, handler=PLAN_HANDLER, payload=payload, due_at=now, now=now)


def prepare(delivery: Delivery) -> planning.Tried | None:
    """Plan it and try it out, outside any transaction; None where it cannot be priced or planned as it stands."""
    draft = draft_of(Restoration.objects.get(pk=delivery.payload["restoration"]))
    if draft is None:
        return None
    try:
        return planning.try_out(priced(draft), today=timezone.localdate(delivery.now))
    except BadInput:
        return None  # the page of days says what stands in the way


def keep(delivery: Delivery) -> None:
    """Keep what was tried out; where the scope moved on meanwhile the next sweep asks again."""
    if isinstance(delivery.prepared, planning.Tried):
        planning.keep(delivery.prepared, now=delivery.now)
