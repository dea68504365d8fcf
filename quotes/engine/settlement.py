"""The final account: what a job comes to in the end, by what is agreed and by what things really came to.

final account = fixed + min(actual, cap) + hourly at actual + variations + storage − credits, with tax, less what was
received. What nobody has said the actual of stands at its quoted figure. A provisional damage is no line: found, it is a
variation, settled like any line by the basis the customer agreed to; until then it is told beside as what may still come.

Tax: what stays as it was quoted keeps the tax it was quoted with; where actuals move the net of a rate, the tax of that
rate is worked out anew on the document.

| line                        | quoted | cap   | actual | counts |
| frame, fixed                | 800.00 |       | 900.00 | 800.00 |
| engine, up to a cap         | 500.00 | 575.00| 640.00 | 575.00 |
| electrics, by the hour      | 200.00 |       | 260.00 | 260.00 |
| crack, a variation, by hour |  90.00 |       |  75.00 |  75.00 |
| fee credited                |−100.00 |       |        |−100.00 |
| net                         |        |       |        |1610.00 |
| tax, a fifth                |        |       |        | 322.00 |
| received                    |        |       |        |1000.00 |
| to come                     |        |       |        | 932.00 |
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from quotes.engine.errors import BadInput
from quotes.engine.inputs import Basis
from quotes.engine.money import HALF_UP, rounded
from quotes.engine.results import CREDIT

NONE = Decimal(0)


class Kind(StrEnum):
    """What a line of a final account is."""

    FIXED = "fixed"
    CAPPED = "capped"
    HOURLY = "hourly"
    VARIATION = "variation"
    CREDIT = "credit"


@dataclass(frozen=True, slots=True)
class Agreed:
    """A line of an accepted quote: its ``quoted`` net, the ``quote`` it is in, its tax code, and what it may come to."""

    uid: str
    quote: str
    basis: str
    quoted: Decimal
    tax: str
    cap: Decimal | None = None
    varies: bool = False


@dataclass(frozen=True, slots=True)
class Taxed:
    """What one rate came to in one accepted quote: its ``rate`` [fraction], and the net and tax as quoted."""

    rate: Decimal
    net: Decimal = NONE
    tax: Decimal = NONE


@dataclass(frozen=True, slots=True)
class Account:
    """A final account as it looks now. ``sums`` are nets by kind; ``balance`` is what is still to come in with tax."""

    sums: dict[Kind, Decimal]
    storage: Decimal
    net: Decimal
    tax: Decimal
    total: Decimal
    received: Decimal

    @property
    def balance(self) -> Decimal:
        """What is still to come in, below zero for what has to go back [money with tax]."""
        return self.total - self.received


_KINDS = {
    Basis.FIXED.value: Kind.FIXED,
    Basis.CAPPED.value: Kind.CAPPED,
    Basis.HOURLY.value: Kind.HOURLY,
    CREDIT: Kind.CREDIT,
}


def counts(line: Agreed, actual: Decimal | None) -> Decimal:
    """What a line counts in the final account [money before tax], given what it really came to."""
    if actual is not None and actual < 0:
        raise BadInput("An amount of money cannot be negative. Give 0 or more.", field="actual")
    kind = _KINDS[line.basis]
    if actual is None or kind in {Kind.FIXED, Kind.CREDIT}:
        return line.quoted
    return actual if kind is Kind.HOURLY or line.cap is None else min(actual, line.cap)


def settle(
    lines: Sequence[Agreed],
    taxes: Mapping[tuple[str, str], Taxed],
    *,
    actuals: Mapping[str, Decimal],
    received: Decimal,
    digits: int,
    storage: Decimal = NONE,
    storage_tax: Decimal = NONE,
    rule: str = HALF_UP,
) -> Account:
    """The final account by ``actuals`` (line uid to money before tax). ``taxes`` are by quote and tax code.

    ``storage`` [money before tax] bears ``storage_tax`` [fraction]. ``received`` is with tax.
    """
    sums, nets = dict.fromkeys(Kind, NONE), dict.fromkeys(taxes, NONE)
    for line in lines:
        amount = rounded(counts(line, actuals.get(line.uid)), digits=digits, rule=rule)
        sums[Kind.VARIATION if line.varies else _KINDS[line.basis]] += amount
        nets[(line.quote, line.tax)] += amount
    tax = sum((_tax(taxes[key], net, digits, rule) for key, net in nets.items()), NONE)
    storage = rounded(storage, digits=digits, rule=rule)
    net = sum(sums.values(), NONE) + storage
    tax += rounded(storage * storage_tax, digits=digits, rule=rule)
    return Account(sums, storage, net, tax, net + tax, received)


def _tax(taxed: Taxed, net: Decimal, digits: int, rule: str) -> Decimal:
    return taxed.tax if net == taxed.net else rounded(net * taxed.rate, digits=digits, rule=rule)
