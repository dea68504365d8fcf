"""Accepted bikes: the day promised, the day planned, and what must leave or be ordered next. Nothing is planned here."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, F, OuterRef, QuerySet, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from quotes.desk.money_jobs import held_by
from quotes.desk.today import BAD, MIND, SHOWN, Tag
from quotes.pricing.models import IssuedQuote, Outcome, Stage
from shop.rates.selectors import odds
from shop.restorations.models import Restoration
from shop.routes.gate import Cause, before_leaving
from shop.routes.models import Authorisation, Hold, Plan, PlannedStep

NEXT = 2
SOON = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Due:
    """Something that must leave for a vendor, or be ordered, by a day; ``waits`` says what holds it back till then."""

    text: str
    by: date
    soon: bool
    waits: str = ""


@dataclass(frozen=True, slots=True)
class Bike:
    """An accepted restoration. ``ready`` is the day kept 4 times in 5 as last planned, ``promised`` that of the quote.

    ``only_inspecting`` until a main offer is accepted: the plan's days are of the whole bike, so that none is shown.
    """

    restoration: Restoration
    promised: date | None
    ready: date | None
    only_inspecting: bool
    tags: tuple[Tag, ...]
    next: tuple[Due, ...]


@dataclass(frozen=True, slots=True)
class Bikes:
    """The first few, those with the nearest day to keep first."""

    rows: Sequence[Bike]
    more: bool


def bikes(day: date) -> Bikes:
    """Accepted restorations with work that is agreed, in a fixed number of queries."""
    accepted = _accepted()
    rows = (
        Restoration.objects.filter(Exists(accepted))
        .select_related("customer", "machine")
        .annotate(
            promised=_promised(),
            whole=Exists(_accepted().filter(stage=Stage.MAIN)),
            nearest=_nearest(day),
        )
        .order_by(F("nearest").asc(nulls_last=True), F("promised").asc(nulls_last=True), "pk")
    )
    shown = list(rows[: SHOWN + 1])
    few = shown[:SHOWN]
    plans = {plan.pk: plan for plan in Plan.objects.filter(pk__in=[row.pk for row in few]).defer("content")}
    due, held = _due(few, day), held_by(few, day)
    found = [_bike(row, plans.get(row.pk), due[row.pk], held.get(row.pk)) for row in few]
    return Bikes(found, len(shown) > SHOWN)


def _accepted() -> QuerySet[IssuedQuote]:
    return IssuedQuote.objects.filter(restoration=OuterRef("pk"), outcome__kind=Outcome.Kind.ACCEPTED)


def _promised() -> Subquery:
    """The day that the newest accepted quote with a day named."""
    return Subquery(_accepted().filter(ready_kept__isnull=False).order_by("-number").values("ready_kept")[:1])


def _to_come(day: date) -> QuerySet[PlannedStep]:
    """Agreed steps that are still on a route, and must leave or be ordered from ``day`` on."""
    agreed = Authorisation.objects.filter(step_uid=OuterRef("step__uid"))
    live = PlannedStep.objects.filter(step__removed_at__isnull=True, step__part__removed_at__isnull=True)
    return live.filter(Exists(agreed), leave_by__gte=day)


def _nearest(day: date) -> Subquery:
    steps = _to_come(day).filter(plan__restoration=OuterRef("pk"))
    return Subquery(steps.order_by("leave_by").values("leave_by")[:1])


def _bike(row: Restoration, plan: Plan | None, due: list[Due], held: Hold | None) -> Bike:
    whole: bool = row.whole  # type: ignore[attr-defined]
    promised: date | None = row.promised if whole else None  # type: ignore[attr-defined]
    tags = []
    if held is not None:
        tags.append(Tag(_("held: %(why)s") % {"why": held.get_kind_display()}, MIND))
    if plan is None:
        tags.append(Tag(_("not planned"), MIND))
    elif plan.scope_version != row.scope_version:
        tags.append(Tag(_("changed since it was planned"), MIND))
    if plan and promised and plan.ready_kept > promised:
        days = (plan.ready_kept - promised).days
        text = ngettext("%(days)s day later than promised", "%(days)s days later than promised", days)
        tags.append(Tag(text % {"days": days}, BAD))
    ready = plan.ready_kept if plan and whole else None
    return Bike(row, promised, ready, not whole, tuple(tags), tuple(due[:NEXT]))


def _due(rows: Sequence[Restoration], day: date) -> dict[int, list[Due]]:
    """Restoration id to what must leave or be ordered from ``day`` on, lot by lot, the nearest first."""
    coming = _to_come(day).filter(plan__in=[row.pk for row in rows])
    planned_steps = list(coming.select_related("step__service__vendor").order_by("leave_by", "pk"))
    waits = before_leaving([row.pk for row in rows], odds(day)) if planned_steps else {}
    lots: dict[int, dict[tuple[date, str], str]] = defaultdict(dict)
    for planned in planned_steps:
        assert planned.leave_by is not None
        lot = lots[planned.plan_id]
        key = planned.leave_by, _what(planned)
        lot[key] = lot.get(key) or _waits(waits.get(planned.step.uid))
    return defaultdict(
        list,
        {
            pk: [Due(text, by, by - day <= SOON, held) for (by, text), held in found.items()]
            for pk, found in lots.items()
        },
    )


def _waits(cause: Cause | None) -> str:
    if cause is None:
        return ""
    return _("waits for numbers that match") if cause == Cause.NUMBERS else _("waits for finish evidence")


def _what(planned: PlannedStep) -> str:
    step = planned.step
    if step.service is None:
        return _("order %(what)s") % {"what": step.buy}
    return _("%(work)s leaves for %(vendor)s") % {"work": step.service.name, "vendor": step.service.vendor.name}


def words() -> tuple[str, str]:
    """What the list is called, and what it is about."""
    return _("In the workshop"), _("What is agreed, the day it is to be ready, and what must leave next.")
