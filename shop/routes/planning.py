"""The plan of a restoration, kept with what it rests on; and the days on which a restoration is held."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format
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
def hold(
    *,
    restoration: Restoration,
    first: date,
    last: date | None = None,
    reason: str,
    kind: str = Hold.Kind.OURS,
    who: str,
    now: datetime,
) -> Hold:
    """Hold a restoration from ``first`` to ``last``, both included; without a last day until somebody lets it go.

    The ready day moves with it. Holds of different kinds may overlap, since two things may keep a bike waiting; of one
    kind a day is held once.
    """
    hold_scope(restoration.pk)
    _refuse_days(first, last, today=timezone.localdate(now))
    row = Hold(restoration=restoration, first=first, last=last, kind=kind, reason=reason.strip())
    row.full_clean()
    _refuse_twice(row)
    row.save()
    change_scope(restoration)
    record(who=who, at=now, what="held", subject=subject_of(restoration), after=_told(row))
    return row


def _refuse_days(first: date, last: date | None, *, today: date) -> None:
    if last is None:
        if abs(first - today) > LONGEST_HOLD:
            raise ValidationError({"first": _("That is more than two years away. Give a nearer first day.")})
        return
    if last < first:
        raise ValidationError({"last": _("The last day is before the first. Swap them.")})
    if last < today:
        raise ValidationError({"last": _("These days are past. Give days to come.")})
    if last - first > LONGEST_HOLD:
        raise ValidationError({"last": _("That is more than two years. Give a nearer last day.")})


def _refuse_twice(row: Hold) -> None:
    """Of one kind a day is held once: else letting it go would not set it free."""
    same = Hold.objects.filter(restoration=row.restoration, kind=row.kind, removed_at__isnull=True)
    same = same.filter(Q(last__isnull=True) | Q(last__gte=row.first))
    if row.last is not None:
        same = same.filter(first__lte=row.last)
    other = same.order_by("first", "pk").first()
    if other is not None:
        told = {
            "kind": other.get_kind_display(),
            "first": date_format(other.first),
            "last": date_format(other.last) if other.last else _("until it is let go"),
        }
        said = _("It is held for that already (%(kind)s, %(first)s – %(last)s). Let that go first, or give other days.")
        raise ValidationError({"first": said % told}, code="held already")


@transaction.atomic
def let_go(*, hold: Hold, who: str, now: datetime) -> None:
    """Take a hold back, as if it had never been. Taken back already, nothing changes."""
    hold_scope(hold.restoration_id)
    hold.refresh_from_db()
    if hold.removed_at is not None:
        return
    hold.removed_at = now
    hold.save(update_fields=["removed_at"])
    change_scope(hold.restoration)
    record(who=who, at=now, what="hold taken back", subject=subject_of(hold.restoration), before=_told(hold))


@transaction.atomic
def end_on(*, hold: Hold, last: date, who: str, now: datetime) -> None:
    """Let a hold go: ``last`` is its last held day, and the days up to it stay held. The ready day moves with it.

    It only ever becomes shorter; one that should last longer is a new hold.
    """
    hold_scope(hold.restoration_id)
    hold.refresh_from_db()
    if hold.removed_at is not None:
        raise ValidationError(_("This hold was taken back meanwhile. Look at the page again."), code="taken back")
    if last < hold.first:
        said = _("It was not held yet on that day. Give %(first)s or a later day, or take the hold back.")
        raise ValidationError({"last": said % {"first": date_format(hold.first)}})
    if hold.last is not None and last > hold.last:
        said = _("It is held until %(last)s only. For longer, note a new hold.") % {"last": date_format(hold.last)}
        raise ValidationError({"last": said})
    if last - max(hold.first, timezone.localdate(now)) > LONGEST_HOLD:
        raise ValidationError({"last": _("That is more than two years. Give a nearer last day.")})
    if hold.last == last:
        return
    before, hold.last = _told(hold), last
    hold.save(update_fields=["last"])
    change_scope(hold.restoration)
    subject = subject_of(hold.restoration)
    record(who=who, at=now, what="hold let go", subject=subject, before=before, after=_told(hold))


def _told(row: Hold) -> dict[str, object]:
    return {"first day": row.first, "last day": row.last, "kind": row.kind, "reason": row.reason}
