"""What an accepted quote asks for and when: instalments, and the events that make them due.

Every accepted quote has its own, and together they are what is agreed, to the minor unit. Of several accepted main offers
only the newest counts: it offers everything that is in scope, so what the older ones asked for is replaced by what it asks
for, and what was paid stays paid. The fee of an inspection counts beside it: the main offer is net of that. A variation that
takes out more than it adds has an instalment below zero, due with the final account as its paper says. The stages before it
stay as they were signed, and it comes off the last payment.
"""

from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from quotes.engine.money import places, to_minor
from quotes.pricing.models import Instalment, IssuedQuote, Outcome
from quotes.pricing.money import funded, money_in
from quotes.pricing.money.money_in import in_force
from quotes.pricing.offer import OfferStage
from quotes.pricing.paper import offer_of
from shop.journal.services import record, subject_of
from shop.rates.models import PaymentStage
from shop.restorations.models import Restoration
from shop.restorations.services import hold_scope

Event = PaymentStage.Event


def ask_for(*, quote: IssuedQuote, now: datetime) -> list[Instalment]:
    """The instalments of a quote that was just accepted, inside that transaction. What falls due with the yes is due."""
    said_on = Outcome.objects.get(pk=quote.pk).said_on
    rows = [_instalment(quote, position, stage, said_on) for position, stage in enumerate(_stages(quote), start=1)]
    Instalment.objects.bulk_create(rows)
    funded.refresh(restoration=quote.restoration, today=timezone.localdate(now), now=now)
    return rows


def _stages(quote: IssuedQuote) -> list[OfferStage]:
    """As the paper has them. What comes to nothing is not asked for."""
    return [stage for stage in offer_of(quote).stages if stage.amount]


def _instalment(quote: IssuedQuote, position: int, stage: OfferStage, said_on: date) -> Instalment:
    event = Event(stage.event or Event.ACCEPTED)
    at_once = event == Event.ACCEPTED
    return Instalment(
        quote=quote,
        position=position,
        name=stage.name,
        due=stage.due,
        event=event,
        days=stage.days,
        amount_minor=to_minor(stage.amount, digits=places(quote.currency)),
        reached_on=said_on if at_once else None,
        due_on=said_on + timedelta(days=stage.days) if at_once else None,
    )


@transaction.atomic
def reach(*, event: str, restoration: Restoration, day: date, who: str, now: datetime) -> list[Instalment]:
    """Say that the bike is stripped, coated and so on since ``day``: what waited for it is due. Gives back what that is.

    Nobody owes before having agreed: what was accepted after that day counts from the acceptance.
    """
    hold_scope(restoration.pk)
    if event not in Event.values or event == Event.ACCEPTED:
        raise ValidationError({"event": _("Choose one of the events that the accepted quotes name.")})
    today = timezone.localdate(now)
    if day > today:
        raise ValidationError({"day": _("This day is still to come. Give today or an earlier day.")})
    rows = list(in_force([restoration]).filter(event=event, reached_on__isnull=True).select_related("quote__outcome"))
    if not rows:
        raise ValidationError({"event": _("No payment waits for this. Look at the page again.")}, code="nothing waits")
    for row in rows:
        row.reached_on = max(day, row.quote.outcome.said_on)
        row.due_on = row.reached_on + timedelta(days=row.days)
        row.save(update_fields=["reached_on", "due_on"])
    _tell("payment stage reached", restoration, event, rows, who=who, now=now)
    return rows


@transaction.atomic
def unreach(*, event: str, restoration: Restoration, who: str, now: datetime) -> list[Instalment]:
    """Take back that an event was reached, for a slip: refused once a later stage is reached or money came in for it."""
    hold_scope(restoration.pk)
    every = list(in_force([restoration]))
    rows = [row for row in every if row.event == event and row.reached_on is not None]
    if event == Event.ACCEPTED or not rows:
        raise ValidationError({"event": _("There is nothing to take back here. Look at the page again.")})
    positions = {row.quote_id: row.position for row in rows}
    later = [row for row in every if row.reached_on and row.position > positions.get(row.quote_id, row.position)]
    later = [row for row in later if row.event != event]
    if later:
        said = _("“%(later)s” came after it. Take that back first.") % {"later": later[0].name}
        raise ValidationError({"event": said}, code="something follows")
    standing = money_in.standing(restoration, timezone.localdate(now))
    paid = {payment.uid: payment.paid for payment in standing.payments}
    if any(paid.get(row.uid) for row in rows):
        raise ValidationError(
            {"event": _("Money came in for it already, so it stays. Reverse the receipt first if that was the slip.")},
            code="something follows",
        )
    before = [(row.name, row.reached_on) for row in rows]
    for row in rows:
        row.reached_on = row.due_on = None
        row.save(update_fields=["reached_on", "due_on"])
    _tell("payment stage taken back", restoration, event, rows, who=who, now=now, before=before)
    return rows


def _tell(
    what: str,
    restoration: Restoration,
    event: str,
    rows: list[Instalment],
    *,
    who: str,
    now: datetime,
    before: list[tuple[str, date | None]] | None = None,
) -> None:
    state = {"event": event, "payments": [[f"{row.quote}: {row.name}", _when(row)] for row in rows]}
    was = {"event": event, "payments": [[name, day] for name, day in before]} if before else None
    record(who=who, at=now, what=what, subject=subject_of(restoration), before=was, after=None if was else state)
    funded.refresh(restoration=restoration, today=timezone.localdate(now), now=now)


def _when(row: Instalment) -> str:
    return date_format(row.due_on, "Y-m-d") if row.due_on else ""
