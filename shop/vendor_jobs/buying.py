"""Buying: what is to be ordered, orders, what came of them, and old parts that go back for exchange ones.

What is on order is away like what is at a vendor: its step is done when all of it is here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, Max, OuterRef
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.methods.models import Consumable
from shop.people.models import Shop
from shop.rates.models import Status
from shop.restorations.models import Part
from shop.restorations.services import hold_scope
from shop.routes import funding
from shop.routes.finishing import finish_step
from shop.routes.graph import has_work
from shop.routes.models import Authorisation, Away, Done, PlannedStep, Source, Step
from shop.routes.splits import LIVE_PART, LIVE_STEP, origin_step
from shop.vendor_jobs.models import CoreReturn, Order, Ordered, Supplier

Outcome = Ordered.Outcome
#: As finely as a shelf is counted.
THOUSANDTH = Decimal("0.001")
SUPPLIER = ("name", "address", "email", "phone", "note")


@dataclass(frozen=True, slots=True)
class Wanted:
    """A line before it is ordered: what a step buys, or packs of a consumable. ``price_minor`` is each, before tax."""

    price_minor: int
    step: Step | None = None
    consumable: Consumable | None = None
    quantity: Decimal = Decimal(1)
    pack_size: Decimal | None = None
    status: str = Status.SEEN


@dataclass(frozen=True, slots=True)
class ToOrder:
    """Something to buy that nobody ordered yet; ``order_by`` is the plan's last day for it."""

    step: Step
    order_by: date | None


@transaction.atomic
def add_supplier(*, who: str, now: datetime, **fields: str) -> Supplier:
    """A new supplier with `SUPPLIER`; raises at the field."""
    row = Supplier(**{name: value.strip() for name, value in fields.items() if name in SUPPLIER})
    row.full_clean()
    row.save(force_insert=True)
    record(who=who, at=now, what="supplier added", subject=subject_of(row), after={"name": row.name})
    return row


@transaction.atomic
def change_supplier(*, supplier: Supplier, who: str, now: datetime, **fields: str) -> Supplier:
    """Change what is known of a supplier; raises at the field."""
    row = Supplier.objects.select_for_update().get(pk=supplier.pk)
    if unknown := set(fields) - set(SUPPLIER):
        raise TypeError(f"cannot change {', '.join(sorted(unknown))} here")
    before = {name: getattr(row, name) for name in fields}
    for name, value in fields.items():
        setattr(row, name, value.strip())
    row.full_clean()
    row.save()
    record(who=who, at=now, what="supplier changed", subject=subject_of(row), before=before, after=fields)
    return row


def to_order() -> list[ToOrder]:
    """What the customers agreed to that has to be bought and is neither here nor on order; two queries."""
    own = {"step": OuterRef("pk")}
    rows = Step.objects.filter(
        ~Exists(Ordered.objects.filter(**own, outcome=Outcome.OPEN)),
        ~Exists(Done.objects.filter(**own, visit=OuterRef("visit"), undone_at__isnull=True)),
        Exists(Authorisation.objects.filter(step_uid=OuterRef("uid"))),
        LIVE_STEP,
        part__in=Part.objects.filter(LIVE_PART),
    )
    rows = rows.exclude(buy="").exclude(buy_source=Source.CUSTOMERS_OWN)
    rows = rows.select_related("part__restoration__machine", "part__restoration__customer")
    steps = [step for step in rows if has_work(step)]
    found = PlannedStep.objects.filter(step__in={origin_step(step) for step in steps})
    days = {
        step: leave or timezone.localdate(at)
        for step, leave, at in found.values_list("step", "leave_by", "latest_start")
    }
    made = [ToOrder(step, days.get(origin_step(step))) for step in steps]
    return sorted(made, key=lambda one: (one.order_by or date.max, one.step.part.restoration_id, one.step.pk))


@transaction.atomic
def place_order(
    *,
    supplier: Supplier,
    lines: Sequence[Wanted],
    ordered_on: date,
    due_on: date | None = None,
    said_by: str = "",
    reference: str = "",
    who: str,
    now: datetime,
) -> Order:
    """Order ``lines`` together. Raises at the field, or with what holds one of them back, its money included."""
    if not lines:
        raise ValidationError({"lines": _("Choose what is ordered.")})
    if ordered_on > timezone.localdate(now):
        raise ValidationError({"ordered_on": _("That day is still to come. Note the order when it is made.")})
    if due_on is not None and due_on < ordered_on:
        raise ValidationError({"due_on": _("It cannot come before it is ordered. Give a later day.")})
    steps = [line.step for line in lines if line.step is not None]
    for pk in sorted({step.part.restoration_id for step in steps}):
        hold_scope(pk)
    for step in steps:
        _refuse_not_to_order(step)
    funding.refuse_unfunded(steps=steps, out=funding.gone_of(steps), now=now)
    Shop.objects.select_for_update().first()
    order = Order(
        number=(Order.objects.aggregate(last=Max("number"))["last"] or 0) + 1,
        supplier=supplier,
        ordered_on=ordered_on,
        reference=reference.strip(),
        due_on=due_on,
        said_by=said_by.strip(),
        at=now,
        recorded_by=who,
    )
    order.full_clean(exclude={"supplier"})
    order.save(force_insert=True)
    for line in lines:
        _add(order, line)
    Away.objects.bulk_create(
        Away(step=step, visit=step.visit, where=str(supplier), since=ordered_on, due_on=due_on, changed_at=now)
        for step in steps
    )
    after = {"order": str(order), "supplier": supplier.name, "what": _names(order), "comes on": due_on}
    record(who=who, at=now, what="ordered", subject=subject_of(order), after=after)
    return order


def _refuse_not_to_order(step: Step) -> None:
    step.refresh_from_db(fields=["visit", "removed_at", "buy"])
    told = {"what": step, "part": step.part}
    if not step.buy:
        raise ValidationError({"lines": _("“%(what)s” of %(part)s is nothing to buy.") % told}, code="no purchase")
    if step.removed_at is not None:
        raise ValidationError({"lines": _("“%(what)s” of %(part)s is not wanted any more.") % told}, code="gone")
    if not Authorisation.objects.filter(step_uid=step.uid).exists():
        said = _("The customer has not agreed to “%(what)s” of %(part)s yet.")
        raise ValidationError({"lines": said % told}, code="not authorised")
    if Done.objects.filter(step=step, visit=step.visit, undone_at__isnull=True).exists():
        raise ValidationError({"lines": _("“%(what)s” of %(part)s is here already.") % told}, code="here")
    if Away.objects.filter(step=step, ended_on__isnull=True).exists():
        raise ValidationError({"lines": _("“%(what)s” of %(part)s is on order already.") % told}, code="ordered")


def _add(order: Order, line: Wanted) -> Ordered:
    row = Ordered(
        order=order,
        step=line.step,
        visit=line.step.visit if line.step else 1,
        consumable=line.consumable,
        quantity=Decimal(line.step.part.pieces) if line.step else line.quantity,
        pack_size=line.pack_size,
        price_minor=line.price_minor,
        status=line.status,
    )
    row.full_clean(exclude={"order", "step", "consumable"})
    row.save(force_insert=True)
    return row


def _names(order: Order) -> str:
    rows = order.lines.select_related("step__part", "consumable")
    return ", ".join(str(row.step or row.consumable) for row in rows)


@transaction.atomic
def told_it_comes(*, order: Order, due_on: date, said_by: str, who: str, now: datetime) -> Order:
    """The supplier said another day; the plan moves with it."""
    order = Order.objects.select_for_update().get(pk=order.pk)
    if order.closed_on is not None:
        raise ValidationError(_("All of %(order)s is here already.") % {"order": order}, code="closed")
    if due_on < order.ordered_on:
        raise ValidationError({"due_on": _("That is before it was ordered. Give a later day.")})
    before = {"comes on": order.due_on, "who said so": order.said_by}
    order.due_on, order.said_by = due_on, said_by.strip()
    order.save(update_fields=["due_on", "said_by"])
    steps = order.lines.filter(outcome=Outcome.OPEN, step__isnull=False).values("step")
    Away.objects.filter(step__in=steps, ended_on__isnull=True).update(due_on=due_on, changed_at=now)
    after = {"comes on": due_on, "who said so": order.said_by}
    record(who=who, at=now, what="told when an order comes", subject=subject_of(order), before=before, after=after)
    return order


@dataclass(frozen=True, slots=True)
class Came:
    """What came of a line. ``quantity`` is what is here, all of it where it is None; the rest stays on order."""

    line: Ordered
    outcome: str
    quantity: Decimal | None = None
    charged_minor: int | None = None
    note: str = ""


@transaction.atomic
def receive_order(
    *, order: Order, came: Sequence[Came], on: date, looked_by: str, who: str, now: datetime
) -> list[Step]:
    """Say what came of an order on a day; the steps that became ready. Raises at the field.

    What is wrong, or does not come, is to be ordered anew. What a step buys is here once all of it is.
    """
    bikes = order.lines.filter(step__isnull=False).values_list("step__part__restoration", flat=True)
    for pk in sorted(set(bikes)):
        hold_scope(pk)
    order = Order.objects.select_for_update().get(pk=order.pk)
    if on < order.ordered_on:
        raise ValidationError({"on": _("That is before it was ordered. Give the day on which it came.")})
    if on > timezone.localdate(now):
        raise ValidationError({"on": _("That day is still to come. Note it when it is here.")})
    if not came:
        raise ValidationError(_("Say of one thing at least what came of it."), code="nothing")
    ready: list[Step] = []
    for one in came:
        ready += _settle(one, on=on, looked_by=looked_by, who=who, now=now)
    if not order.lines.filter(outcome=Outcome.OPEN).exists():
        order.closed_on = on
        order.save(update_fields=["closed_on"])
    after = {
        "on": on,
        "looked at by": looked_by,
        **{str(one.line.step or one.line.consumable): one.outcome for one in came},
    }
    record(who=who, at=now, what="order came", subject=subject_of(order), after=after)
    return ready


def _settle(came: Came, *, on: date, looked_by: str, who: str, now: datetime) -> list[Step]:
    line = Ordered.objects.select_related("step__part__restoration", "consumable").get(pk=came.line.pk)
    told = {"what": line.step or line.consumable, "quantity": line.quantity.normalize()}
    if line.outcome != Outcome.OPEN:
        raise ValidationError(_("%(what)s is settled already. Look at the page again.") % told, code="settled")
    here = line.quantity if came.quantity is None else came.quantity
    if not 0 < here <= line.quantity:
        said = _("%(quantity)s of %(what)s were ordered. Give at most so many, and more than none.")
        raise ValidationError(said % told, code="quantity")
    rest = line.quantity - here
    line.outcome, line.quantity, line.note = came.outcome, here, came.note.strip()
    line.charged_minor, line.settled_at, line.settled_by = came.charged_minor, now, who
    if came.outcome != Outcome.CANCELLED:
        line.came_on, line.looked_by = on, looked_by.strip()
    line.full_clean(exclude={"order", "step", "consumable"})
    line.save()
    if rest:
        _add_rest(line, rest)
    return _of_step(line, rest, on=on, who=who, now=now) if line.step is not None else []


def _add_rest(line: Ordered, rest: Decimal) -> None:
    same = ("order_id", "step_id", "visit", "consumable_id", "pack_size", "price_minor", "status")
    Ordered.objects.create(quantity=rest, **{name: getattr(line, name) for name in same})


def _of_step(line: Ordered, rest: Decimal, *, on: date, who: str, now: datetime) -> list[Step]:
    """What a line's outcome means for the route of its part."""
    assert line.step is not None
    if rest:
        return []
    Away.objects.filter(step=line.step, ended_on__isnull=True).update(ended_on=on, changed_at=now)
    if line.outcome != Outcome.HERE:
        return []
    missing = line.step.ordered.filter(
        order=line.order, outcome__in=[Outcome.WRONG, Outcome.CANCELLED], visit=line.visit
    )
    return [] if missing.exists() else finish_step(step=line.step, who=who, now=now)


def came_in(after: Mapping[int, date], *, until: date) -> dict[int, Decimal]:
    """Consumable, by its key, to what of it came by orders after a day, up to ``until`` [its unit]. One query."""
    rows = Ordered.objects.filter(consumable__in=after, outcome=Outcome.HERE, came_on__lte=until)
    found = dict.fromkeys(after, Decimal(0))
    for item, day, packs, size in rows.values_list("consumable", "came_on", "quantity", "pack_size"):
        if item and day and size and day > after[item]:
            found[item] += packs * size
    return {item: amount.quantize(THOUSANDTH) for item, amount in found.items()}


def cores_to_return() -> list[Step]:
    """Exchange parts that are here whose old part has not gone back; the first that is due comes first. One query."""
    rows = Step.objects.filter(
        Exists(Done.objects.filter(step=OuterRef("pk"), undone_at__isnull=True)),
        LIVE_STEP,
        buy_source=Source.EXCHANGE,
        buy_core_minor__gt=0,
        core_return__isnull=True,
    )
    return list(rows.select_related("part__restoration__machine").order_by("buy_core_by", "pk"))


@transaction.atomic
def send_core_back(*, step: Step, sent_on: date, note: str = "", who: str, now: datetime) -> CoreReturn:
    """The old part went back. Said twice, it is kept once."""
    hold_scope(step.part.restoration_id)
    if step.buy_source != Source.EXCHANGE:
        raise ValidationError(_("Only an exchange part takes the old one back."), code="no exchange")
    if sent_on > timezone.localdate(now):
        raise ValidationError({"sent_on": _("That day is still to come. Note it when it has gone.")})
    row, made = CoreReturn.objects.get_or_create(
        step=step, defaults={"sent_on": sent_on, "note": note.strip(), "at": now, "recorded_by": who}
    )
    if made:
        after = {"went back on": sent_on, "part": str(step.part)}
        record(who=who, at=now, what="old part sent back", subject=subject_of(step), after=after)
    return row


@transaction.atomic
def credit_core(*, core: CoreReturn, credited_minor: int, on: date, who: str, now: datetime) -> CoreReturn:
    """Note what was given for the old part [minor units]; raises at the field."""
    core = CoreReturn.objects.select_for_update().select_related("step").get(pk=core.pk)
    if on < core.sent_on:
        raise ValidationError({"on": _("That is before it went back. Give a later day.")})
    before = {"given for it": core.credited_minor, "on": core.credited_on}
    core.credited_minor, core.credited_on = credited_minor, on
    core.full_clean(exclude={"step"})
    core.save(update_fields=["credited_minor", "credited_on"])
    after = {"given for it": credited_minor, "on": on}
    record(who=who, at=now, what="old part credited", subject=subject_of(core.step), before=before, after=after)
    return core
