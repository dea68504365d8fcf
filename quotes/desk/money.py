"""What the money page shows: the standing of one job, what goes out, what is held, and the account as it looks now."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from quotes.engine.money import from_minor, places
from quotes.engine.settlement import Account, Kind
from quotes.pricing.models import Receipt
from quotes.pricing.money import final_account, funded, money_in
from shop import currency
from shop.papers.pictures import figure, paying
from shop.rates.models import PaymentStage
from shop.rates.selectors import odds
from shop.rereading import reread
from shop.restorations.models import Restoration
from shop.routes import funding
from shop.routes.funding import Outside
from shop.routes.gate import Cause, before_leaving
from shop.routes.models import Authorisation, Plan, Source, Step
from shop.routes.schedules import holds

Event = PaymentStage.Event
ORDER = {event: place for place, event in enumerate(Event.values)}


@dataclass(slots=True)
class Stage:
    """An event that payments hang on, with those it makes due. ``reached`` is the first day it counts from."""

    event: str
    label: str
    payments: list[money_in.Payment] = field(default_factory=list)
    reached: date | None = None


@dataclass(frozen=True, slots=True)
class Leaving:
    """A row of what goes out, as money."""

    item: Outside
    amount: Decimal
    total: Decimal
    missing: Decimal
    waits: Cause | None = None

    @property
    def waits_for_finish(self) -> bool:
        """Whether the finish is what it waits for, rather than the numbers."""
        return self.waits not in {None, Cause.NUMBERS}


@dataclass(frozen=True, slots=True)
class Received:
    """A receipt, as money, and whether it can be reversed."""

    row: Receipt
    amount: Decimal
    reversed_by: str


@reread(most=16)
def shown(restoration: Restoration, day: date) -> dict[str, Any]:
    """Everything on the page but its forms, in a fixed number of queries."""
    standing = money_in.standing(restoration, day)
    forecast = final_account.forecast(restoration, day)
    out = funding.gone(restoration)
    queue = funding.queue(restoration, funded.of_standing(standing), funded.prices(restoration), out=out)
    waits = before_leaving([restoration.pk], odds(day))
    return {
        "restoration": restoration,
        "day": day,
        "standing": standing,
        "next_payment": next((one for one in standing.payments if one.open and one.is_due), standing.next),
        "picture": _picture(standing) if standing.payments else "",
        "waiting": [stage for stage in stages(standing.payments) if stage.reached is None],
        "reached": [stage for stage in stages(standing.payments) if stage.reached and stage.event != Event.ACCEPTED],
        "receipts": list(received(restoration)),
        "queue": queue,
        "plan_is_old": Plan.objects.filter(restoration=restoration)
        .exclude(scope_version=restoration.scope_version)
        .exists(),
        "leaving": [_leaving(item, waits) for item in queue],
        "held_back": [item for item in queue if not item.may_go],
        "not_agreed": _not_agreed(restoration),
        "holds": holds(restoration),
        "stretches": final_account.storage_of(restoration, day),
        "forecast": forecast,
        "sums": sums(forecast.account) if forecast else (),
        "liability": standing.liability(Decimal(0)),
    }


def _picture(standing: money_in.Standing) -> SafeString:
    drawn = paying.Paying(
        agreed=standing.agreed,
        due=standing.due,
        received=standing.received,
        late=standing.late,
        currency=standing.currency,
    )
    return figure.on_page(
        lambda ident, width: paying.draw(drawn, ident=ident, width=width),
        ident="paying",
        words=paying.in_words(drawn),
    )


def stages(payments: Sequence[money_in.Payment]) -> list[Stage]:
    """The events that payments hang on, in the order in which a bike comes by them, those not reached apart."""
    labels = dict(Event.choices)
    found: dict[tuple[str, bool], Stage] = {}
    for payment in sorted(payments, key=lambda payment: ORDER[payment.event]):
        key = (payment.event, payment.reached_on is not None)
        stage = found.setdefault(key, Stage(payment.event, str(labels[Event(payment.event)])))
        stage.payments.append(payment)
        days = [one.reached_on for one in stage.payments if one.reached_on is not None]
        stage.reached = min(days, default=None)
    return list(found.values())


def received(restoration: Restoration) -> list[Received]:
    """Receipts and what went back, the newest first."""
    rows = restoration.receipts.select_related("reverses", "reversed_by").order_by("-number")
    return [
        Received(row, from_minor(row.amount_minor, digits=places(row.currency)), str(getattr(row, "reversed_by", "")))
        for row in rows
    ]


def _leaving(item: Outside, waits: Mapping[UUID, Cause]) -> Leaving:
    digits = places(currency.code())
    amount, total, missing = (from_minor(minor, digits=digits) for minor in (item.amount, item.total, item.missing))
    return Leaving(item, amount, total, missing, None if item.out else waits.get(item.step.uid))


def _not_agreed(restoration: Restoration) -> int:
    """How many steps would leave the house that nobody has agreed to."""
    agreed = Authorisation.objects.values("step_uid")
    steps = Step.objects.filter(part__restoration=restoration, part__removed_at=None, removed_at=None, split_from=None)
    outside = steps.filter(service__isnull=False) | steps.exclude(buy="").exclude(buy_source=Source.CUSTOMERS_OWN)
    return outside.exclude(uid__in=agreed).count()


def sums(account: Account) -> list[tuple[str, Decimal]]:
    """The lines of a final account that come to something, as they are called."""
    names = {
        Kind.FIXED: _("Fixed prices"),
        Kind.CAPPED: _("Estimates, up to their caps"),
        Kind.HOURLY: _("By the hour"),
        Kind.VARIATION: _("Variations"),
        Kind.CREDIT: _("Credited"),
    }
    lines = [(name, account.sums[kind]) for kind, name in names.items() if account.sums[kind]]
    return [*lines, (_("Storage"), account.storage)] if account.storage else lines
