"""A job that is agreed and paid in stages. Names and figures are invented."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from quotes.engine.inputs import PaymentStage
from quotes.pricing.models import Draft, Instalment, IssuedQuote, Receipt
from quotes.pricing.money import receipts
from quotes.pricing.money.money_in import Standing, standing
from shop.rates import services as rates
from shop.restorations.models import Restoration
from tests.pricing.workshop import BY, JANUARY, NOW, POLICY, TODAY, answer, issue

D = Decimal
STAGED = (
    PaymentStage("Deposit", D(20), "on acceptance", "accepted"),
    PaymentStage("Second", D(30), "a week after the frame is coated", "coated", 7),
    PaymentStage("Rest", D(50), "at hand-over", "handed_over"),
)


def staged_policy(**changes: Any) -> None:
    """From January on customers pay in three stages."""
    rates.note_policy(valid_from=JANUARY, **({"stages": STAGED, "overhead_rate": D("18.73")} | POLICY | changes), **BY)


def agreed(draft: Draft, **changes: Any) -> IssuedQuote:
    """What the draft offers, issued and accepted today."""
    quote = issue(draft)
    answer(quote, **changes)
    return quote


def day(offset: int) -> date:
    return TODAY + timedelta(days=offset)


def at(offset: int) -> datetime:
    return NOW + timedelta(days=offset)


def by(offset: int) -> dict[str, Any]:
    """Who and when, so many days after today."""
    return {"who": "desk", "now": at(offset)}


def paid(of: Restoration, minor: int, offset: int = 0, **changes: Any) -> Receipt:
    given = {"amount_minor": minor, "received_on": day(offset)} | by(offset) | changes
    return receipts.note(restoration=of, **given)


def stands(of: Restoration, offset: int = 0) -> Standing:
    return standing(of, day(offset))


def asked(of: Restoration) -> list[tuple[str, str, int]]:
    """Name, event and amount of every instalment there is."""
    rows = Instalment.objects.filter(quote__restoration=of).order_by("quote__number", "position")
    return [(row.name, row.event, row.amount_minor) for row in rows]
