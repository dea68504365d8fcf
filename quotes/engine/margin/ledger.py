"""The flows of job-order costing in double entry: where each cost stands, from the shelf to the cost of sales.

    materials ──used──▶ in progress ──finished──▶ finished ──handed over──▶ cost of sales
    wages, vendors ──▶ in progress                           sales ◀── owed by customers ◀── deposits
    overhead incurred ──▶ overhead      overhead applied ──▶ in progress; what is left is over- or under-absorbed

A debit is plus, a credit minus; every entry is nought in all, so the balances of all accounts always are. A deposit is owed
to the customer until the bike is handed over: then it pays for it. Amounts are money in any one unit.

| a billboard: material 700, labour 66, overhead at 2.50 of labour | in progress | finished | cost of sales | sales |
| material, labour and overhead of 165                             |         931 |          |               |       |
| finished                                                         |           0 |      931 |               |       |
| handed over for 2,000                                            |           0 |        0 |           931 | 2,000 |

Only what a shop needs to see whether its jobs bear its costs. When tax on a deposit is due, what a year's accounts want and
how long papers are kept is the country's law: ask whoever does the accounts.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from quotes.engine.errors import BadInput
from quotes.engine.margin.exact import added, less
from quotes.engine.results import NONE


class Account(StrEnum):
    """Where money stands."""

    MATERIALS = "materials"
    IN_PROGRESS = "in progress"
    FINISHED = "finished"
    COST_OF_SALES = "cost of sales"
    OVERHEAD = "overhead incurred"
    APPLIED = "overhead applied"
    WAGES = "wages to pay"
    SUPPLIERS = "owed to suppliers and vendors"
    BANK = "bank"
    DEPOSITS = "deposits"
    CUSTOMERS = "owed by customers"
    SALES = "sales"
    TAX = "tax to pay"


class Flow(StrEnum):
    """What happened."""

    BOUGHT = "bought"
    USED = "used"
    WORKED = "worked"
    CHARGED = "charged"
    INCURRED = "incurred"
    APPLIED = "applied"
    FINISHED = "finished"
    HANDED_OVER = "handed over"
    RECEIVED = "received"
    PAID = "paid"
    CLOSED = "closed"


class Posting(NamedTuple):
    """``amount`` [money] on an account, plus for a debit; ``job`` where it is of one."""

    account: Account
    amount: Decimal
    job: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One flow. Refuses postings that are not nought in all."""

    flow: Flow
    postings: tuple[Posting, ...]

    def __post_init__(self) -> None:
        out = added(posting.amount for posting in self.postings)
        if out:
            raise BadInput("The two sides of an entry differ by {out}.", field="postings", out=out)


def bought(amount: Decimal) -> Entry:
    """Material for the shelf."""
    return _moved(Flow.BOUGHT, amount, Account.SUPPLIERS, Account.MATERIALS)


def used(amount: Decimal, job: str = "", *, into: Account = Account.IN_PROGRESS) -> Entry:
    """Material off the shelf: for a job, or for the shop where none is named."""
    return _moved(Flow.USED, amount, Account.MATERIALS, _into(job, into), job)


def worked(amount: Decimal, job: str = "", *, into: Account = Account.IN_PROGRESS) -> Entry:
    """Attended time: for a job, or indirect where none is named."""
    return _moved(Flow.WORKED, amount, Account.WAGES, _into(job, into), job)


def charged(amount: Decimal, job: str, *, into: Account = Account.IN_PROGRESS) -> Entry:
    """A vendor's work or a bought-in part, for a job at once."""
    return _moved(Flow.CHARGED, amount, Account.SUPPLIERS, _into(job, into), job)


def incurred(amount: Decimal) -> Entry:
    """Overhead as it is billed: rent, power, insurance."""
    return _moved(Flow.INCURRED, amount, Account.SUPPLIERS, Account.OVERHEAD)


def applied(amount: Decimal, job: str, *, into: Account = Account.IN_PROGRESS) -> Entry:
    """Overhead that a job bears by its rate, a vendor's handling rate too."""
    return _moved(Flow.APPLIED, amount, Account.APPLIED, _into(job, into), job)


def finished(amount: Decimal, job: str) -> Entry:
    """A bike that is ready: all that stands in progress for it [money]."""
    return _moved(Flow.FINISHED, amount, Account.IN_PROGRESS, Account.FINISHED, job)


def deposited(amount: Decimal, job: str) -> Entry:
    """Money from a customer before the bike is handed over: owed until then."""
    return _moved(Flow.RECEIVED, amount, Account.DEPOSITS, Account.BANK, job)


def received(amount: Decimal, job: str) -> Entry:
    """Money from a customer afterwards."""
    return _moved(Flow.RECEIVED, amount, Account.CUSTOMERS, Account.BANK, job)


def paid(amount: Decimal, account: Account) -> Entry:
    """Money for wages, suppliers or tax."""
    return _moved(Flow.PAID, amount, Account.BANK, account)


def handed_over(job: str, *, cost: Decimal, net: Decimal, tax: Decimal, deposits: Decimal) -> Entry:
    """A bike handed over: its ``cost`` becomes cost of sales, ``net`` and ``tax`` are owed, ``deposits`` pay for it.

    >>> entry = handed_over("B-7", cost=Decimal(931), net=Decimal(2_000), tax=Decimal(400), deposits=Decimal(600))
    >>> found = balances([entry])
    >>> str(found.of(Account.SALES)), str(found.of(Account.CUSTOMERS)), str(found.of(Account.DEPOSITS))
    ('-2000', '1800', '600')
    """
    total = added((net, tax))
    return Entry(
        Flow.HANDED_OVER,
        (
            Posting(Account.COST_OF_SALES, cost, job),
            Posting(Account.FINISHED, less(NONE, cost), job),
            Posting(Account.CUSTOMERS, less(total, deposits), job),
            Posting(Account.DEPOSITS, deposits, job),
            Posting(Account.SALES, less(NONE, net), job),
            Posting(Account.TAX, less(NONE, tax), job),
        ),
    )


@dataclass(frozen=True, slots=True)
class Balances:
    """What stands on each account [money], by job where it is of one."""

    by_job: Mapping[tuple[Account, str], Decimal]

    def of(self, account: Account, job: str | None = None) -> Decimal:
        """The balance of an account, or of one job on it; ``job`` "" is what is of none."""
        if job is not None:
            return self.by_job.get((account, job), NONE)
        return added(amount for (on, _), amount in self.by_job.items() if on is account)

    @property
    def accounts(self) -> dict[Account, Decimal]:
        """Every account with its balance."""
        return {account: self.of(account) for account in Account}

    @property
    def total(self) -> Decimal:
        """All accounts together: always nought."""
        return added(self.by_job.values())

    @property
    def under_absorbed(self) -> Decimal:
        """Overhead incurred − applied [money]: below zero where jobs bore more than there was."""
        return added((self.of(Account.OVERHEAD), self.of(Account.APPLIED)))


NOTHING_YET = Balances({})


def balances(entries: Iterable[Entry], *, opening: Balances = NOTHING_YET) -> Balances:
    """What stands on each account after ``entries``, from what stood there before."""
    amounts: dict[tuple[Account, str], list[Decimal]] = {key: [amount] for key, amount in opening.by_job.items()}
    for entry in entries:
        for posting in entry.postings:
            amounts.setdefault((posting.account, posting.job), []).append(posting.amount)
    return Balances({key: added(found) for key, found in amounts.items()})


def absorbed(found: Balances) -> Entry:
    """The end of a year: overhead incurred and applied are cleared, what is under- or over-absorbed is cost of sales.

    >>> year = balances([incurred(Decimal(256_500)), applied(Decimal(250_000), "all jobs")])
    >>> after = balances([absorbed(year)], opening=year)
    >>> str(year.under_absorbed), str(after.of(Account.COST_OF_SALES)), str(after.under_absorbed)
    ('6500', '6500', '0')
    """
    rest = [
        Posting(account, less(NONE, amount), job)
        for (account, job), amount in found.by_job.items()
        if account in {Account.OVERHEAD, Account.APPLIED} and amount
    ]
    return Entry(Flow.CLOSED, (*rest, Posting(Account.COST_OF_SALES, found.under_absorbed)))


@dataclass(frozen=True, slots=True)
class Manufactured:
    """The schedule of the cost of goods manufactured: what came into work in a time, and what was finished of it [money]."""

    materials_before: Decimal
    bought: Decimal
    materials_after: Decimal
    materials_indirect: Decimal
    labour: Decimal
    vendors: Decimal
    overhead: Decimal
    progress_before: Decimal
    progress_after: Decimal

    @property
    def materials_used(self) -> Decimal:
        """Before + bought − after − what went to no job."""
        return less(added((self.materials_before, self.bought)), self.materials_after, self.materials_indirect)

    @property
    def cost_added(self) -> Decimal:
        """Materials used, labour, vendors and bought-in parts, overhead applied."""
        return added((self.materials_used, self.labour, self.vendors, self.overhead))

    @property
    def finished(self) -> Decimal:
        """Cost of goods manufactured: in progress before + added − in progress after."""
        return less(added((self.progress_before, self.cost_added)), self.progress_after)


def manufactured(entries: Iterable[Entry], *, opening: Balances = NOTHING_YET) -> Manufactured:
    """The schedule of ``entries``; what of them went into cost of sales at once (after hand-over) is no part of it."""
    given = list(entries)
    closing = balances(given, opening=opening)

    def into(flow: Flow, account: Account) -> Decimal:
        found = (posting for entry in given if entry.flow is flow for posting in entry.postings)
        return added(posting.amount for posting in found if posting.account is account)

    used_elsewhere = less(NONE, into(Flow.USED, Account.MATERIALS), into(Flow.USED, Account.IN_PROGRESS))
    return Manufactured(
        materials_before=opening.of(Account.MATERIALS),
        bought=into(Flow.BOUGHT, Account.MATERIALS),
        materials_after=closing.of(Account.MATERIALS),
        materials_indirect=used_elsewhere,
        labour=into(Flow.WORKED, Account.IN_PROGRESS),
        vendors=into(Flow.CHARGED, Account.IN_PROGRESS),
        overhead=into(Flow.APPLIED, Account.IN_PROGRESS),
        progress_before=opening.of(Account.IN_PROGRESS),
        progress_after=closing.of(Account.IN_PROGRESS),
    )


def _moved(flow: Flow, amount: Decimal, source: Account, target: Account, job: str = "") -> Entry:
    return Entry(
        flow, (Posting(target, amount, _job(target, job)), Posting(source, less(NONE, amount), _job(source, job)))
    )


def _job(account: Account, job: str) -> str:
    """Which accounts are kept by job: those whose balance is of one bike."""
    return job if account in _BY_JOB else ""


_BY_JOB = {
    Account.IN_PROGRESS,
    Account.FINISHED,
    Account.COST_OF_SALES,
    Account.DEPOSITS,
    Account.CUSTOMERS,
    Account.SALES,
}


def _into(job: str, into: Account) -> Account:
    """Where a cost goes: onto the job, or to overhead where none is named."""
    return into if job else Account.OVERHEAD
