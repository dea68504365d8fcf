"""How the money of a job stands on a day: agreed, due, received, late, what comes next, and what is owed as work.

Everything is worked out from instalments and receipts when it is asked for; nothing is kept. Lateness hangs on the day, so
it is an argument.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet, Sum

from quotes.engine import payments
from quotes.engine.money import from_minor, places
from quotes.pricing.models import Instalment, IssuedQuote, Outcome, Receipt, Stage
from quotes.pricing.selectors import HEAVY
from shop import currency
from shop.restorations.models import Restoration

NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Payment:
    """An instalment and what of it is ``paid`` [money with tax]. ``late`` is what should have come before the day."""

    uid: UUID
    quote: str
    quote_uid: UUID
    name: str
    due: str
    event: str
    amount: Decimal
    paid: Decimal
    reached_on: date | None
    due_on: date | None
    is_due: bool
    late: Decimal = NONE

    @property
    def open(self) -> Decimal:
        """What is still missing of it; a credit misses nothing."""
        return max(self.amount - self.paid, NONE)


@dataclass(frozen=True, slots=True)
class Standing:
    """How the money of one restoration stands on ``day`` [money with tax].

    ``net_agreed`` and ``net_received`` are the same without tax: what was received holds tax as the accepted quotes do,
    pro rata. ``over`` is what came in although nothing was asked for it.
    """

    day: date
    currency: str
    agreed: Decimal
    due: Decimal
    received: Decimal
    late: Decimal
    late_since: date | None
    over: Decimal
    net_agreed: Decimal
    net_received: Decimal
    payments: tuple[Payment, ...] = ()

    @property
    def asked(self) -> Decimal:
        """What is due and has not come in, late or not."""
        return sum((payment.open for payment in self.payments if payment.is_due), NONE)

    @property
    def to_come(self) -> Decimal:
        """What is agreed and not received yet; below zero for what came in beyond it."""
        return self.agreed - self.received

    @property
    def next(self) -> Payment | None:
        """The next payment that is not due yet: of those with a day the earliest, else the first."""
        waiting = [payment for payment in self.payments if payment.open and not payment.is_due]
        return min(waiting, key=lambda payment: (payment.due_on is None, payment.due_on or self.day), default=None)

    def liability(self, delivered: Decimal) -> Decimal:
        """Deposits still owed as work [money before tax], given the value of the work that was ``delivered``."""
        return payments.owed_as_work(max(self.net_received, NONE), delivered)

    def exposure(self, *, cost: Decimal, committed: Decimal) -> Decimal:
        """What the shop has of its own in the bike [money before tax], given cost so far and what is committed."""
        return payments.exposure(cost=cost, committed=committed, received=self.net_received)


def to_pay_first(quote: IssuedQuote, day: date) -> list[Payment]:
    """What is to be paid first for an accepted quote: all that has a day by now, else the one that comes first."""
    rows = [one for one in standing(quote.restoration, day).payments if one.quote_uid == quote.uid and one.open]
    return [one for one in rows if one.due_on] or rows[:1]


def accepted() -> QuerySet[IssuedQuote]:
    """Accepted inspections, main offers and variations; of main offers for one restoration only the newest."""
    rows = IssuedQuote.objects.filter(outcome__kind=Outcome.Kind.ACCEPTED)
    newer = rows.filter(restoration=OuterRef("restoration"), version__gt=OuterRef("version"), stage=Stage.MAIN)
    return rows.filter(~Q(stage=Stage.MAIN) | ~Exists(newer))


def in_force(restorations: Iterable[Restoration]) -> QuerySet[Instalment]:
    """What is asked for these restorations, quote by quote."""
    rows = Instalment.objects.filter(quote__in=accepted(), quote__restoration__in=list(restorations))
    heavy = (f"quote__{name}" for name in HEAVY)
    return rows.select_related("quote").defer(*heavy).order_by("quote__number", "position")


def standing(restoration: Restoration, day: date) -> Standing:
    """How the money of one restoration stands on ``day``, in three queries."""
    return standings([restoration], day)[restoration.pk]


def standings(restorations: Sequence[Restoration], day: date) -> dict[int, Standing]:
    """Restoration id to how its money stands on ``day``, in three queries however many there are."""
    pks = [restoration.pk for restoration in restorations]
    agreed = accepted().filter(restoration__in=pks).order_by().values("restoration")
    sums = agreed.annotate(net=Sum("net_minor"), total=Sum("total_minor"))
    totals = {row["restoration"]: (row["net"], row["total"]) for row in sums}
    receipts = Receipt.objects.filter(restoration__in=pks, received_on__lte=day).order_by().values("restoration")
    received = {row["restoration"]: row["minor"] for row in receipts.annotate(minor=Sum("amount_minor"))}
    asked: dict[int, list[Instalment]] = {}
    for row in in_force(restorations):
        asked.setdefault(row.quote.restoration_id, []).append(row)
    return {pk: _standing(totals.get(pk, (0, 0)), received.get(pk, 0), asked.get(pk, []), day) for pk in pks}


def _standing(agreed: tuple[int, int], received_minor: int, rows: Sequence[Instalment], day: date) -> Standing:
    code = currency.code()
    digits = places(code)
    received, net, total = (from_minor(minor, digits=digits) for minor in (received_minor, *agreed))
    asked = [payments.Asked(str(row.uid), from_minor(row.amount_minor, digits=digits), row.due_on) for row in rows]
    paid = payments.allocated(asked, received, day)
    late, since = payments.late(asked, paid, day)
    return Standing(
        day=day,
        currency=code,
        agreed=total,
        due=sum((item.amount for item in asked if item.is_due(day)), from_minor(0, digits=digits)),
        received=received,
        late=late + from_minor(0, digits=digits),
        late_since=since,
        over=max(received - total, NONE) + from_minor(0, digits=digits),
        net_agreed=net,
        net_received=payments.before_tax(received, net=net, total=total, digits=digits),
        payments=tuple(_payment(row, item, paid, day) for row, item in zip(rows, asked, strict=True)),
    )


def _payment(row: Instalment, item: payments.Asked, paid: payments.Paid, day: date) -> Payment:
    covered = paid.covered.get(item.key, NONE)
    is_late = item.amount > 0 and item.due_on is not None and item.due_on < day
    return Payment(
        uid=row.uid,
        quote=str(row.quote),
        quote_uid=row.quote.uid,
        name=row.name,
        due=row.due,
        event=row.event,
        amount=item.amount,
        paid=covered,
        reached_on=row.reached_on,
        due_on=row.due_on,
        is_due=item.is_due(day),
        late=item.amount - covered if is_late else NONE,
    )
