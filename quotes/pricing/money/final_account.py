"""The final account of a job as it looks now, and the storage in it, from what was accepted and what came in."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quotes.engine import canonical, settlement, storage
from quotes.engine.money import from_minor, places
from quotes.engine.results import Result
from quotes.pricing import variations
from quotes.pricing.models import IssuedQuote, Stage
from quotes.pricing.money import money_in
from shop import currency
from shop.methods.dated import latest_first
from shop.rates.models import PricePolicy
from shop.restorations.models import PartDamage, Restoration
from shop.routes.models import Hold

NONE = Decimal(0)
NO_ACTUALS: Mapping[str, Decimal] = {}
#: What the customer is asked to pay storage for; what we or a part are the cause of is ours.
CUSTOMERS = (Hold.Kind.UNPAID, Hold.Kind.DECIDING)


@dataclass(frozen=True, slots=True)
class MayCome:
    """A possible damage that nobody has settled: what it adds if it is found [money before tax]."""

    part: str
    name: str
    price: Decimal


@dataclass(frozen=True, slots=True)
class Forecast:
    """A final account as it looks now, the stretches of storage in it, and what may still come."""

    account: settlement.Account
    stretches: tuple[storage.Stretch, ...]
    may_come: tuple[MayCome, ...]

    @property
    def left(self) -> Decimal:
        """What is still to come in, or to go back, as an amount above zero [money with tax]."""
        return abs(self.account.balance)


def storage_of(restoration: Restoration, day: date) -> tuple[storage.Stretch, ...]:
    """The stretches held up to ``day`` for the customer's reasons, with what each costs by the policy of its first day."""
    rows = restoration.holds.filter(removed_at__isnull=True, kind__in=CUSTOMERS, first__lte=day)
    held = list(rows.values_list("first", "last"))
    return storage.storage(held, day, _terms()) if held else ()


def _terms() -> Callable[[date], storage.Terms]:
    """Storage terms by day, the policies read once."""
    policies = list(latest_first(PricePolicy.objects.all(), on=date.max))
    digits = places(currency.code())

    def of(day: date) -> storage.Terms:
        policy = next((row for row in policies if row.valid_from <= day), None)
        if policy is None:
            return storage.Terms(1, NONE)
        return storage.Terms(policy.storage_after_days, from_minor(policy.storage_minor, digits=digits))

    return of


def forecast(restoration: Restoration, day: date, *, actuals: Mapping[str, Decimal] = NO_ACTUALS) -> Forecast | None:
    """The final account as it looks on ``day``, None before anything is accepted.

    ``actuals`` are by the uid of a part's line [money before tax]; what is not among them stands at its quoted figure. A
    provisional damage adds nothing by itself: found, it is on the route and comes as a variation.
    """
    quotes = list(money_in.accepted().filter(restoration=restoration).order_by("number"))
    if not quotes:
        return None
    results = {quote.pk: canonical.load(Result, quote.result.encode()) for quote in quotes}
    standing = money_in.standing(restoration, day)
    found = storage_of(restoration, day)
    taxes = {key: taxed for quote in quotes for key, taxed in _taxes(quote, results[quote.pk]).items()}
    account = settlement.settle(
        list(_lines(quotes, results)),
        taxes,
        actuals=actuals,
        received=standing.received,
        digits=places(standing.currency),
        storage=sum((item.amount for item in found), NONE),
        storage_tax=(standing.agreed - standing.net_agreed) / standing.net_agreed if standing.net_agreed else NONE,
    )
    settled = _settled(restoration)
    may_come = (may for uid, may in _provisional(quotes, results).items() if uid not in settled)
    return Forecast(account, found, tuple(may_come))


def _lines(quotes: list[IssuedQuote], results: Mapping[int, Result]) -> Iterator[settlement.Agreed]:
    for quote in quotes:
        for line in results[quote.pk].lines:
            yield settlement.Agreed(
                uid=line.uid,
                quote=str(quote),
                basis=line.basis,
                quoted=line.net,
                tax=line.tax,
                cap=line.cap,
                varies=quote.stage == Stage.VARIATION,
            )


def _taxes(quote: IssuedQuote, result: Result) -> dict[tuple[str, str], settlement.Taxed]:
    """Every rate of the quote; one that no line had is there for what may still come."""
    rates = {tax.code: settlement.Taxed(tax.rate) for tax in variations.snapshot(quote).taxes}
    rates |= {tax.code: settlement.Taxed(tax.rate, tax.net, tax.tax) for tax in result.taxes}
    return {(str(quote), code): taxed for code, taxed in rates.items()}


def _provisional(quotes: list[IssuedQuote], results: Mapping[int, Result]) -> dict[str, MayCome]:
    """Each provisional damage once, by uid, as the newest quote that names it prices it."""
    named = (item for quote in quotes for item in results[quote.pk].provisional)
    return {item.uid: MayCome(item.part, item.name, item.price) for item in named}


def _settled(restoration: Restoration) -> set[str]:
    """Damages somebody has said yes or no to, or taken off the list, by uid."""
    rows = PartDamage.objects.filter(part__restoration=restoration)
    return {str(row.uid) for row in rows if row.settled or row.removed_at is not None}
