"""A plan of today for every agreed bike, whether anybody looks or not: its customer reads the day from it.

A plan hangs on the day it is made: on what has to come first, on holidays that moved nearer, on held days. So the sweep
asks for each bike once a day, and once more when its scope moved on.
"""

from datetime import datetime, time

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from quotes.engine.errors import BadInput
from quotes.pricing import planning
from quotes.pricing.models import IssuedQuote, Outcome, Stage
from quotes.pricing.selectors import draft_of, priced
from shop.outbox.handlers import Delivery
from shop.outbox.selectors import asked_for
from shop.outbox.services import publish
from shop.restorations.models import Restoration

PLAN_HANDLER = "plan of a bike"


def plan_key(restoration: Restoration, now: datetime) -> str:
    """One plan for one scope on one day."""
    return f"plan/{restoration.uid}/{restoration.scope_version}/{timezone.localdate(now)}"


def without_plan(now: datetime) -> QuerySet[Restoration]:
    """Agreed restorations whose plan is missing, of another scope, or of an earlier day; one query."""
    today = timezone.make_aware(datetime.combine(timezone.localdate(now), time.min))
    agreed = IssuedQuote.objects.filter(
        restoration=OuterRef("pk"), stage=Stage.MAIN, outcome__kind=Outcome.Kind.ACCEPTED
    )
    old = Q(plan__isnull=True) | ~Q(plan__scope_version=F("scope_version")) | Q(plan__made_at__lt=today)
    return Restoration.objects.filter(Exists(agreed), old, draft__isnull=False)


def mend(*, now: datetime) -> None:
    """Ask for the plans that are missing; asking twice is asking once."""
    missing = {plan_key(restoration, now): restoration for restoration in without_plan(now)}
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
