"""The ledger after a close: what has been taken into weeks, what was handed over and what came in, in double entry.

Worked out anew from sums, not from the last ledger: so a late fact is in the first close that knows of it, and two closes
differ by what became known between them.
"""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from django.db.models import Sum

from quotes.engine.margin import ledger
from quotes.engine.margin.ledger import Account, Balances, Entry
from quotes.engine.money import from_minor, places, rounded
from quotes.margin.adding import cost, sums
from quotes.margin.models import CostEntry, Overhead
from quotes.pricing.models import Receipt
from quotes.pricing.money import money_in
from shop import currency
from shop.floor.models import HandedOver, WalkIn
from shop.rates.models import TaxRate
from shop.restorations.models import Restoration
from shop.vendor_jobs.models import Ordered

#: What small jobs are called together.
SMALL_JOBS = "small jobs"
NONE = Decimal(0)


def balances(day: date) -> Balances:
    """Where money stands by what is closed, and by what was handed over and received up to ``day``. Nought in all."""
    return ledger.balances([*_costs(), *_stock(day), *_shop(), *_customers(day), *_small_jobs(day)])


def _money(minor: int | None) -> Decimal:
    return from_minor(minor or 0, digits=places(currency.code()))


def _costs() -> Iterator[Entry]:
    """What was taken into weeks, by job; what is for no bike is overhead, small jobs are sold as they are done."""
    for row in sums(CostEntry.objects.filter(close__isnull=False), "restoration__uid", "nature"):
        small = row["nature"] == CostEntry.Nature.WALK_IN
        job = SMALL_JOBS if small else str(row["restoration__uid"] or "")
        into = Account.COST_OF_SALES if small else Account.IN_PROGRESS
        yield ledger.worked(_money(row["labour_minor"]), job, into=into)
        yield ledger.used(_money(row["material_minor"]), job, into=into)
        if job:
            yield ledger.charged(_money(row["vendor_minor"] + row["bought_in_minor"]), job, into=into)
            yield ledger.applied(_money(row["overhead_minor"] + row["handling_minor"]), job, into=into)


def _stock(day: date) -> Iterator[Entry]:
    """Packs that came for the shelf, as charged, else as ordered."""
    rows = Ordered.objects.filter(consumable__isnull=False, outcome=Ordered.Outcome.HERE, came_on__lte=day)
    for quantity, price, charged in rows.values_list("quantity", "price_minor", "charged_minor"):
        minor = int(rounded(quantity * price, digits=0)) if charged is None else charged
        yield ledger.bought(_money(minor))


def _shop() -> Iterator[Entry]:
    """Overhead as it was billed."""
    yield ledger.incurred(_money(Overhead.objects.filter(close__isnull=False).aggregate(sum=Sum("net_minor"))["sum"]))


def _customers(day: date) -> Iterator[Entry]:
    """Deposits, bikes handed over with all their cost, and what came in afterwards."""
    gone = dict(HandedOver.objects.filter(on__lte=day).values_list("restoration", "on"))
    before, after = _received(day, gone)
    uids = dict(Restoration.objects.filter(pk__in={*before, *after, *gone}).values_list("pk", "uid"))
    for pk, minor in sorted(before.items()):
        yield ledger.deposited(_money(minor), str(uids[pk]))
    yield from _handed_over(gone, before, day)
    for pk, minor in sorted(after.items()):
        yield ledger.received(_money(minor), str(uids[pk]))


def _received(day: date, gone: dict[int, date]) -> tuple[dict[int, int], dict[int, int]]:
    """Restoration to what came in up to the day it was handed over, and later [minor units]."""
    before: dict[int, int] = {}
    after: dict[int, int] = {}
    rows = Receipt.objects.filter(received_on__lte=day).values_list("restoration", "received_on", "amount_minor")
    for pk, on, minor in rows:
        into = after if pk in gone and on > gone[pk] else before
        into[pk] = into.get(pk, 0) + minor
    return before, after


def _handed_over(gone: dict[int, date], deposits: dict[int, int], day: date) -> Iterator[Entry]:
    rows = list(Restoration.objects.filter(pk__in=gone).order_by("pk"))
    standings = money_in.standings(rows, day)
    closed = sums(CostEntry.objects.filter(close__isnull=False, restoration__in=gone), "restoration")
    costs = {row["restoration"]: cost(row) for row in closed}
    for row in rows:
        job, spent, standing = str(row.uid), costs.get(row.pk, NONE), standings[row.pk]
        yield ledger.finished(spent, job)
        yield ledger.handed_over(
            job,
            cost=spent,
            net=standing.net_agreed,
            tax=standing.agreed - standing.net_agreed,
            deposits=_money(deposits.get(row.pk, 0)),
        )


def _small_jobs(day: date) -> Iterator[Entry]:
    """Small jobs are agreed with tax, and owed from that day until they are paid."""
    digits = places(currency.code())
    rates = [
        (row.valid_from, row.percent / 100)
        for row in TaxRate.objects.filter(code="standard").order_by("valid_from", "revision")
    ]
    for row in WalkIn.objects.filter(agreed_on__lte=day, agreed_minor__gt=0):
        rate = next((percent for since, percent in reversed(rates) if since <= row.agreed_on), NONE)
        total = _money(row.agreed_minor)
        net = rounded(total / (1 + rate), digits=digits)
        yield ledger.handed_over(SMALL_JOBS, cost=NONE, net=net, tax=total - net, deposits=NONE)
        if row.paid_on is not None and row.paid_on <= day:
            yield ledger.received(total, SMALL_JOBS)


def accounts(found: Balances) -> dict[str, Decimal]:
    """Each account by name with its balance [money], in the order of the accounts; what is nought is left out."""
    return {account.value: amount for account, amount in found.accounts.items() if amount}
