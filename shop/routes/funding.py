"""What may go out before the customer has paid for it: vendor work and purchases wait for the money, other work does not.

A step that is vendor work or a purchase (not what the customer brings) may go out while nothing that is due is late, and
while what is out or ordered already, with this one, stays within what was received. What it comes to is its price in the
accepted quote with tax, since what the customer paid is with tax; a step that no quote prices adds nothing. What is
missing is one figure: a payment of it clears what is late and covers what is short, so it is the larger of the two.

| received | late  | out or ordered | this one | missing |
|   500.00 |       |         300.00 |   200.00 |         |
|   500.00 |       |         300.00 |   380.00 |  180.00 |
|   500.00 | 120.00|         300.00 |   100.00 |  120.00 |
|   500.00 | 120.00|         300.00 |   380.00 |  180.00 |

What was received and what of it is late is written here by pricing. It holds for the day it was written on, since a
payment becomes late by itself: whoever needs it on a later day has it written anew.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine.money import from_minor, places
from shop import currency
from shop.journal.services import record, subject_of
from shop.restorations.models import Restoration
from shop.restorations.services import hold_scope
from shop.routes.models import Authorisation, Away, Done, Funding, Override, PlannedStep, Source, Step
from shop.routes.splits import origin_step
from shop.text import money

Prices = Mapping[UUID, int]
_write: Callable[[Restoration, datetime], object] | None = None
_price: Callable[[Restoration], Prices] | None = None


def register(*, write: Callable[[Restoration, datetime], object], price: Callable[[Restoration], Prices]) -> None:
    """Let the room that keeps the money say how a `Funding` is written anew, and what steps come to [minor units with tax]."""
    global _write, _price
    _write, _price = write, price


@dataclass(frozen=True, slots=True)
class Funds:
    """What was received, and what of it is late [minor units with tax]."""

    received: int = 0
    late: int = 0


@dataclass(frozen=True, slots=True)
class Outside:
    """A step that leaves the house or has to be bought. Sums are in minor units with tax.

    ``total`` is what is out or ordered with this one and all that must leave before it; what is ``out`` has no day to leave.
    ``override`` is who let it go.
    """

    step: Step
    leave_by: date | None
    amount: int
    total: int
    missing: int
    out: bool = False
    override: Override | None = None

    @property
    def may_go(self) -> bool:
        """Whether nothing holds it back."""
        return self.out or not self.missing or self.override is not None


def missing(funds: Funds, total: int) -> int:
    """What must come in before ``total`` may be out or ordered; see the table above [minor units with tax]."""
    return max(funds.late, total - funds.received, 0)


def sentence(step: Step, funds: Funds, total: int) -> str:
    """Why a step waits, and what it waits for."""
    told = {"step": step, "part": step.part, "missing": _shown(missing(funds, total)), "late": _shown(funds.late)}
    if not funds.late:
        return _("“%(step)s” of %(part)s waits: %(missing)s more must come in first.") % told
    return _("“%(step)s” of %(part)s waits: %(missing)s more must come in first; %(late)s is late.") % told


def _shown(minor: int) -> str:
    code = currency.code()
    return money(from_minor(minor, digits=places(code)), code)


def outside_steps(restoration: Restoration) -> QuerySet[Step]:
    """Authorised vendor work and purchases in scope, the customer's own parts left out."""
    rows = Step.objects.filter(
        ~Q(buy_source=Source.CUSTOMERS_OWN),
        Q(service__isnull=False) | ~Q(buy=""),
        Exists(Authorisation.objects.filter(step_uid=OuterRef("uid"))),
        part__restoration=restoration,
        part__removed_at__isnull=True,
        removed_at__isnull=True,
        split_from__isnull=True,
    )
    planned = Prefetch("planned", PlannedStep.objects.order_by("pk"), to_attr="plans")
    funding = Override.objects.filter(kind=Override.Kind.FUNDING)
    let_go = Prefetch("overrides", funding, to_attr="let_go")
    return rows.select_related("part", "service__vendor").prefetch_related(planned, let_go)


def queue(restoration: Restoration, funds: Funds, prices: Prices, *, out: Collection[UUID] = ()) -> list[Outside]:
    """What leaves the house, in the order of the day it must leave, with what each waits for; three queries.

    What has to leave sooner has the first claim on the money: each row's total holds the rows above it. What is ``out``
    already comes first.
    """
    gone, found, total = priced_as(out), [], 0
    steps = sorted(outside_steps(restoration), key=lambda step: (step.uid not in gone, *_order(step)))
    for step in steps:
        amount = prices.get(step.uid, 0)
        total += amount
        is_out = step.uid in gone
        let_go: list[Override] = step.let_go  # type: ignore[attr-defined]
        found.append(
            Outside(
                step=step,
                leave_by=None if is_out else _leave_by(step),
                amount=amount,
                total=total,
                missing=0 if is_out else missing(funds, total),
                out=is_out,
                override=let_go[-1] if let_go else None,
            )
        )
    return found


def gone(restoration: Restoration) -> set[UUID]:
    """What is out, on order or back already, by uid: what it comes to is spent. One query."""
    done = Done.objects.filter(step=OuterRef("pk"), visit=OuterRef("visit"), undone_at__isnull=True)
    away = Away.objects.filter(step=OuterRef("pk"), ended_on__isnull=True)
    outside = Q(service__isnull=False) | (~Q(buy="") & ~Q(buy_source=Source.CUSTOMERS_OWN))
    rows = Step.objects.filter(outside, Exists(done) | Exists(away), part__restoration=restoration)
    return set(rows.values_list("uid", flat=True))


def gone_of(steps: Iterable[Step]) -> set[UUID]:
    """`gone` of all bikes that ``steps`` are of."""
    bikes = {step.part.restoration_id: step.part.restoration for step in steps}
    return {uid for bike in bikes.values() for uid in gone(bike)}


def _leave_by(step: Step) -> date | None:
    """The day it must leave or be ordered; what is bought over the counter has until its step must begin."""
    plans: list[PlannedStep] = step.plans  # type: ignore[attr-defined]
    return (plans[0].leave_by or timezone.localdate(plans[0].latest_start)) if plans else None


def _order(step: Step) -> tuple[date, int, int, int]:
    return _leave_by(step) or date.max, step.part.position, step.position, step.pk


@transaction.atomic
def write_funding(*, restoration: Restoration, funds: Funds, now: datetime) -> Funding:
    """Keep what was received and what is late. No journal entry: it follows from receipts and instalments, which have theirs."""
    hold_scope(restoration.pk)
    row, _made = Funding.objects.update_or_create(
        restoration=restoration,
        defaults={"received_minor": funds.received, "late_minor": funds.late, "at": now},
    )
    return row


def funds_of(restoration: Restoration, *, now: datetime) -> Funds:
    """What was received and what is late today: written anew where what is kept was written on another day."""
    row = Funding.objects.filter(restoration=restoration).first()
    if (row is None or timezone.localdate(row.at) != timezone.localdate(now)) and _write is not None:
        _write(restoration, now)
        row = Funding.objects.filter(restoration=restoration).first()
    return Funds(row.received_minor, row.late_minor) if row else Funds()


def prices_of(restoration: Restoration) -> Prices:
    """What the steps of a restoration come to [minor units with tax]."""
    return _price(restoration) if _price is not None else {}


@transaction.atomic
def refuse_unfunded(*, steps: Sequence[Step], out: Collection[UUID] = (), now: datetime) -> None:
    """Raise a `ValidationError` that says what is missing where ``steps``, which go out together, may not go yet.

    To be called in the transaction that sends them out or orders them; ``out`` is what is out or ordered already. A step
    that somebody let go by name goes, and still counts for the others. So does labour, which nothing holds back.
    """
    restorations = {step.part.restoration_id: step.part.restoration for step in steps}
    for pk, restoration in sorted(restorations.items()):
        hold_scope(pk)
        own = [step for step in steps if step.part.restoration_id == pk and leaves(step)]
        held = [ValidationError(said, code="not funded") for said in _refusals(restoration, own, out, now)]
        if held:
            raise ValidationError(held)


def leaves(step: Step) -> bool:
    """Whether a step is vendor work or a purchase, so that money goes out for it."""
    return step.service_id is not None or (bool(step.buy) and step.buy_source != Source.CUSTOMERS_OWN)


def _refusals(restoration: Restoration, steps: Sequence[Step], out: Collection[UUID], now: datetime) -> Iterable[str]:
    let_go = set(_let_go(steps))
    held = [step for step in steps if step.pk not in let_go]
    if not held:
        return
    funds, prices = funds_of(restoration, now=now), prices_of(restoration)
    together = priced_as(set(out) | {step.uid for step in steps})
    total = sum(prices.get(uid, 0) for uid in together)
    if missing(funds, total):
        yield from (sentence(step, funds, total) for step in held)


def not_covered(restoration: Restoration, steps: Sequence[Step], *, out: Collection[UUID]) -> dict[int, str]:
    """Those of ``steps`` of one restoration that may not go out one by one yet, and why. For a look: nothing is written."""
    let_go = set(_let_go(steps))
    row = Funding.objects.filter(restoration=restoration).first()
    funds = Funds(row.received_minor, row.late_minor) if row else Funds()
    prices, copies = prices_of(restoration), _copies({*out, *(step.uid for step in steps)})
    gone, found = {copies.get(uid, uid) for uid in out}, {}
    for step in steps:
        if step.pk in let_go or not leaves(step):
            continue
        total = sum(prices.get(uid, 0) for uid in gone | {copies.get(step.uid, step.uid)})
        if missing(funds, total):
            found[step.pk] = sentence(step, funds, total)
    return found


def priced_as(steps: Collection[UUID]) -> set[UUID]:
    """The steps that a quote prices ``steps`` as: those on a part split off as the step of all its pieces."""
    copies = _copies(steps)
    return {copies.get(uid, uid) for uid in steps}


def _copies(steps: Collection[UUID]) -> dict[UUID, UUID]:
    """Steps on parts split off, to the step of all pieces. One query."""
    return dict(Step.objects.filter(uid__in=steps, split_from__isnull=False).values_list("uid", "split_from__uid"))


def _let_go(steps: Iterable[Step]) -> Iterable[int]:
    own = {step.pk: origin_step(step) for step in steps}
    rows = Override.objects.filter(kind=Override.Kind.FUNDING, step__in={*own, *own.values()})
    let_go = set(rows.values_list("step", flat=True))
    return [pk for pk, origin in own.items() if {pk, origin} & let_go]


@transaction.atomic
def override(
    *,
    restoration: Restoration,
    steps: Collection[UUID],
    who_decided: str,
    reason: str,
    out: Collection[UUID] = (),
    who: str,
    now: datetime,
) -> list[Override]:
    """Let ``steps`` go out before the money is in: ``who_decided`` puts a name to it. All of them, or none.

    Refused where nothing holds one of them back, and at ``who`` and ``reason`` where these say nothing.
    """
    hold_scope(restoration.pk)
    if not steps:
        raise ValidationError({"steps": _("Choose what may go out all the same.")})
    funds = funds_of(restoration, now=now)
    rows = {item.step.uid: item for item in queue(restoration, funds, prices_of(restoration), out=out)}
    if not set(steps) <= rows.keys():
        raise ValidationError({"steps": _("One of these does not leave the house any more. Look at the page again.")})
    return [
        _override(rows[uid], funds, who_decided=who_decided, reason=reason, who=who, now=now)
        for uid in sorted(set(steps), key=lambda uid: rows[uid].step.pk)
    ]


def _override(item: Outside, funds: Funds, *, who_decided: str, reason: str, who: str, now: datetime) -> Override:
    row = Override(
        kind=Override.Kind.FUNDING,
        step=item.step,
        who=who_decided.strip(),
        reason=reason.strip(),
        at=now,
        recorded_by=who,
    )
    row.full_clean(exclude={"step"})
    if item.may_go:
        said = _("Nothing holds “%(step)s” back: it may go out as it is.") % {"step": item.step}
        raise ValidationError({"steps": said}, code="not held back")
    row.save()
    held_by = sentence(item.step, funds, item.total)
    after = {"who decided": row.who, "reason": row.reason, "held back by": held_by}
    record(who=who, at=now, what="funding overridden", subject=subject_of(item.step), after=after)
    return row
