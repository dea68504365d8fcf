"""The plan of a restoration, kept with what it rests on; and the days on which a restoration is held."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine import canonical
from quotes.engine.planned import Lot, Order
from quotes.engine.planned import Plan as Planned
from quotes.engine.planned import PlannedStep as PlannedTimes
from shop.journal.services import record, subject_of
from shop.restorations.models import Restoration
from shop.restorations.services import change_scope, hold_scope
from shop.routes.models import Hold, Plan, PlannedStep, Step

#: Nobody plans a hold longer than this.
LONGEST_HOLD = timedelta(days=730)


@dataclass(frozen=True, slots=True)
class Taken:
    """What a step takes: attended minutes, and how long its place is taken [min]. ``head`` is its batch's first step."""

    head: str
    minutes: int
    place: str
    taken: int


@transaction.atomic
def keep_plan(
    *,
    restoration: Restoration,
    scope_version: int,
    rests_on: str,
    planned: Planned,
    likely: date,
    kept: date,
    takes: Mapping[str, Taken],
    content: object,
    now: datetime,
) -> Plan | None:
    """Keep the plan made at ``scope_version`` in place of the one before; None where the scope has moved on meanwhile.

    No journal entry: a plan follows from what is in the journal already, and is made anew whenever that changes.
    """
    hold_scope(restoration.pk)
    if not Restoration.objects.filter(pk=restoration.pk, scope_version=scope_version).exists():
        return None
    plan, _made = Plan.objects.update_or_create(
        restoration=restoration,
        defaults={
            "scope_version": scope_version,
            "rests_on": rests_on,
            "made_at": now,
            "starts_on": date.fromisoformat(planned.starts[:10]),
            "ready_certain": date.fromisoformat(planned.ready),
            "ready_likely": likely,
            "ready_kept": kept,
            "content": canonical.dump(content).decode(),
        },
    )
    plan.steps.all().delete()
    uids = dict(Step.objects.filter(part__restoration=restoration).values_list("uid", "pk"))
    pks = {str(uid): pk for uid, pk in uids.items()}
    PlannedStep.objects.bulk_create(_rows(plan, planned, pks, takes))
    return plan


def _rows(plan: Plan, planned: Planned, pks: Mapping[str, int], takes: Mapping[str, Taken]) -> list[PlannedStep]:
    lots = {uid: lot for lot in planned.lots for uid in lot.steps}
    orders = {order.step: order for order in planned.orders}
    driving = set(planned.chain)
    return [
        _row(plan, times, pks[times.uid], takes[times.uid], lots.get(times.uid), orders.get(times.uid), driving)
        for times in planned.steps
    ]


def _row(
    plan: Plan, times: PlannedTimes, pk: int, takes: Taken, lot: Lot | None, order: Order | None, driving: set[str]
) -> PlannedStep:
    leave, back = (lot.must_leave, lot.must_be_back) if lot else (order.order_by, order.needed) if order else ("", "")
    return PlannedStep(
        plan=plan,
        step_id=pk,
        earliest_start=_instant(times.early_start),
        earliest_finish=_instant(times.early_finish),
        latest_start=_instant(times.late_start),
        latest_finish=_instant(times.late_finish),
        slack=max(times.slack, 0),
        drives=takes.head in driving,
        minutes=takes.minutes,
        place=takes.place,
        taken=takes.taken,
        leave_by=date.fromisoformat(leave[:10]) if leave else None,
        back_by=date.fromisoformat(back[:10]) if back else None,
    )


def _instant(text: str) -> datetime:
    """An instant on the shop's clock; where the clock is put forward or back, the later reading."""
    on_the_clock = datetime.fromisoformat(text)
    readings = (timezone.make_aware(on_the_clock.replace(fold=fold)) for fold in (0, 1))
    return max(readings, key=datetime.timestamp)


@transaction.atomic
def hold(*, restoration: Restoration, first: date, last: date, reason: str, who: str, now: datetime) -> Hold:
    """Hold a restoration from ``first`` to ``last``, both included. The ready day moves with it."""
    hold_scope(restoration.pk)
    if last < first:
        raise ValidationError({"last": _("The last day is before the first. Swap them.")})
    if last < timezone.localdate(now):
        raise ValidationError({"last": _("These days are past. Give days to come.")})
    if last - first > LONGEST_HOLD:
        raise ValidationError({"last": _("That is more than two years. Give a nearer last day.")})
    row = Hold(restoration=restoration, first=first, last=last, reason=reason.strip())
    row.full_clean()
    row.save()
    change_scope(restoration)
    told = {"first day": first, "last day": last, "reason": row.reason}
    record(who=who, at=now, what="held", subject=subject_of(restoration), after=told)
    return row


@transaction.atomic
def let_go(*, hold: Hold, who: str, now: datetime) -> None:
    """Take a hold back. Taken back already, nothing changes."""
    hold_scope(hold.restoration_id)
    hold.refresh_from_db()
    if hold.removed_at is not None:
        return
    hold.removed_at = now
    hold.save(update_fields=["removed_at"])
    change_scope(hold.restoration)
    told = {"first day": hold.first, "last day": hold.last, "reason": hold.reason}
    record(who=who, at=now, what="hold taken back", subject=subject_of(hold.restoration), before=told)
