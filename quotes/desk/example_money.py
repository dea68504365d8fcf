"""What happened since in the example workshop: quotes that were accepted, money that came in, and a bike that is held."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from quotes.engine.money import places, to_minor
from quotes.pricing.models import Draft, Instalment, IssuedQuote, Outcome
from quotes.pricing.money import instalments, receipts
from quotes.pricing.services import issue, price_anew, record_outcome
from shop import currency
from shop.methods.loading import Told, read
from shop.rates.loading import STARTER
from shop.restorations.models import Restoration
from shop.routes.planning import hold


def live(*, today: date, now: datetime, folder: Path = STARTER) -> None:
    """Issue, accept and pay what ``fixtures/demo/money.toml`` says. Not inside a transaction, as issuing is not."""
    for told in read(folder / "demo" / "money.toml")["job"]:
        _job(told, today=today, now=now)


def _job(told: Told, *, today: date, now: datetime) -> None:
    quote = _issue(told, today=today, now=now)
    agreed = timedelta(days=told["accepted_days_ago"])
    record_outcome(
        quote=quote,
        kind=Outcome.Kind.ACCEPTED,
        said_by=told["customer"],
        how=Outcome.How(told["how"]),
        today=today - agreed,
        who=quote.issued_by,
        now=now - agreed,
    )
    for item in told["received"]:
        _receive(quote, item, today=today, now=now)
    for item in told.get("reached", []):
        ago = timedelta(days=item["days_ago"])
        instalments.reach(
            event=item["event"], restoration=quote.restoration, day=today - ago, who=quote.issued_by, now=now - ago
        )
    if held := told.get("held"):
        ago = timedelta(days=held["days_ago"])
        hold(
            restoration=quote.restoration,
            first=today - ago,
            kind=held["kind"],
            reason=held["reason"],
            who=quote.issued_by,
            now=now - ago,
        )


def _issue(told: Told, *, today: date, now: datetime) -> IssuedQuote:
    restoration = Restoration.objects.get(customer__name=told["customer"])
    ago = timedelta(days=told["issued_days_ago"])
    who = "desk"
    draft = Draft.objects.select_related("restoration").get(restoration=restoration)
    draft = price_anew(draft=draft, today=today - ago, who=who, now=now - ago)
    return issue(
        draft=draft,
        seen_scope=restoration.scope_version,
        seen_draft=draft.version,
        today=today - ago,
        who=who,
        now=now - ago,
        guesses_are_told=True,
    )


def _receive(quote: IssuedQuote, item: Told, *, today: date, now: datetime) -> None:
    ago = timedelta(days=item["days_ago"])
    receipts.note(
        restoration=quote.restoration,
        amount_minor=_amount(quote, item),
        received_on=today - ago,
        how=item["how"],
        reference=item["reference"],
        who=quote.issued_by,
        now=now - ago,
    )


def _amount(quote: IssuedQuote, item: Told) -> int:
    """A whole payment by its name, or an amount."""
    if "payment" in item:
        return Instalment.objects.get(quote=quote, name=item["payment"]).amount_minor
    return to_minor(Decimal(item["amount"]), digits=places(currency.code()))
