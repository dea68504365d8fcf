"""Money that came in, or went back. A receipt is never changed: a slip is reversed by another row.

Numbers follow one another without a gap, over all restorations: a number is taken by inserting it, and whoever comes second
takes the next one.
"""

from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine.money import from_minor, places
from quotes.pricing.models import Receipt
from quotes.pricing.money import funded
from shop import currency
from shop.journal.services import record, subject_of
from shop.restorations.models import Restoration
from shop.restorations.services import hold_scope
from shop.text import money

NUMBER_TRIES = 20


class AlreadyReversedError(ValidationError):
    """Somebody reversed this receipt before."""


@transaction.atomic
def note(
    *,
    restoration: Restoration,
    amount_minor: int,
    received_on: date,
    how: str = Receipt.How.TRANSFER,
    reference: str = "",
    uid: UUID | None = None,
    who: str,
    now: datetime,
) -> Receipt:
    """Note money that came in. ``uid`` names the form it was typed in: the same form sent again is the same receipt."""
    if amount_minor < 0:
        raise ValidationError({"amount_minor": _("Money that went back is a refund. Note it as one, with the reason.")})
    row = Receipt(amount_minor=amount_minor, received_on=received_on, how=how, reference=reference.strip())
    return _keep(row, restoration, uid, "receipt noted", who=who, now=now)


@transaction.atomic
def refund(
    *,
    restoration: Restoration,
    amount_minor: int,
    received_on: date,
    reason: str,
    how: str = Receipt.How.TRANSFER,
    reference: str = "",
    uid: UUID | None = None,
    who: str,
    now: datetime,
) -> Receipt:
    """Note money that went back to the customer: ``amount_minor`` above zero, kept below it. It says why."""
    if amount_minor < 0:
        raise ValidationError({"amount_minor": _("Give what went back, without a minus.")})
    row = Receipt(
        amount_minor=-amount_minor,
        received_on=received_on,
        how=how,
        reference=reference.strip(),
        reason=reason.strip(),
    )
    return _keep(row, restoration, uid, "money given back", who=who, now=now)


@transaction.atomic
def reverse(*, receipt: Receipt, reason: str, who: str, now: datetime) -> Receipt:
    """Reverse a receipt that was a slip, once; from today on it counts as if it had never been noted."""
    if receipt.reverses_id is not None:
        raise ValidationError(_("This row reverses another one. If the money did come in, note it anew."))
    if not reason.strip():
        raise ValidationError({"reason": _("Say in a word why it is reversed.")})
    hold_scope(receipt.restoration_id)
    _refuse_reversed(receipt)
    row = Receipt(
        amount_minor=-receipt.amount_minor,
        received_on=timezone.localdate(now),
        how=receipt.how,
        reference=receipt.reference,
        reverses_id=receipt.pk,
        reason=reason.strip(),
    )
    return _keep(row, receipt.restoration, None, "receipt reversed", who=who, now=now, reverses=receipt)


def _refuse_reversed(receipt: Receipt) -> None:
    if Receipt.objects.filter(reverses=receipt).exists():
        said = _("%(receipt)s is reversed already. Look at the page again.") % {"receipt": receipt}
        raise AlreadyReversedError(said, code="already reversed")


def _keep(
    row: Receipt,
    restoration: Restoration,
    uid: UUID | None,
    what: str,
    *,
    who: str,
    now: datetime,
    reverses: Receipt | None = None,
) -> Receipt:
    hold_scope(restoration.pk)
    if uid is not None:
        known = Receipt.objects.filter(uid=uid).first()
        if known is not None:
            return _same(known, row, restoration)
        row.uid = uid
    # By key: given the restoration itself, a refused row would hang on it.
    row.restoration_id, row.currency, row.at, row.recorded_by = restoration.pk, currency.code(), now, who
    _check(row, today=timezone.localdate(now))
    kept = _numbered(row, reverses)
    if kept is not row:
        return kept
    after = {"amount": _amount(row), "received on": row.received_on, "how": row.how, "reference": row.reference}
    after |= {"reason": row.reason} if row.reason else {}
    after |= {"reverses": str(reverses)} if reverses else {}
    record(who=who, at=now, what=what, subject=subject_of(row), after=after, reference=str(restoration.uid))
    funded.refresh(restoration=restoration, today=timezone.localdate(now), now=now)
    return row


def _same(known: Receipt, row: Receipt, restoration: Restoration) -> Receipt:
    """What was noted from this form before; refused where it says something else now."""
    if (known.restoration_id, known.amount_minor, known.received_on) != (
        restoration.pk,
        row.amount_minor,
        row.received_on,
    ):
        said = _("This form was sent before and is kept as %(receipt)s. Look at the page again.") % {"receipt": known}
        raise ValidationError(said, code="sent before")
    return known


def _check(row: Receipt, *, today: date) -> None:
    row.number = 0
    row.full_clean(exclude={"restoration", "reverses", "number"}, validate_unique=False)
    if row.received_on > today:
        raise ValidationError({"received_on": _("This day is still to come. Give the day the money moved.")})
    held = received_minor(row.restoration_id)
    if row.amount_minor < 0 and held + row.amount_minor < 0:
        shown = money(from_minor(held, digits=places(row.currency)), row.currency)
        said = _("Only %(received)s was received in all, so no more than that can go back.") % {"received": shown}
        raise ValidationError({"amount_minor": said}, code="more than was received")


def received_minor(restoration: int) -> int:
    """What came in for a restoration, less what went back [minor units with tax]."""
    return Receipt.objects.filter(restoration=restoration).aggregate(sum=Sum("amount_minor"))["sum"] or 0


def _numbered(row: Receipt, reverses: Receipt | None) -> Receipt:
    for attempt in range(NUMBER_TRIES):
        row.number = (Receipt.objects.aggregate(last=Max("number"))["last"] or 0) + 1
        try:
            with transaction.atomic():
                row.save(force_insert=True)
        except IntegrityError:
            if reverses is not None:
                _refuse_reversed(reverses)
            known = Receipt.objects.filter(uid=row.uid).first()
            if known is not None:
                return _same(known, row, row.restoration)
            if attempt == NUMBER_TRIES - 1:
                raise
        else:
            return row
    raise AssertionError("not reached")


def _amount(row: Receipt) -> str:
    return money(from_minor(row.amount_minor, digits=places(row.currency)), row.currency)
