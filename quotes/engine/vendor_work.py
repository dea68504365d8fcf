"""The price rule of a vendor job."""

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from quotes.engine.errors import BadInput
from quotes.engine.formulas import variant
from quotes.engine.inputs import Break


def checked_breaks(breaks: Sequence[Break], *, step: str = "") -> Sequence[Break]:
    """``breaks`` as given, or `BadInput` when the table is empty, out of order or negative."""
    if not breaks:
        raise BadInput("The price table is empty. Give the rate from quantity 0 on.", step=step, field="breaks")
    if breaks[0].quantity != 0:
        raise BadInput("The first price break must begin at 0.", step=step, field="breaks")
    for before, after in pairwise(breaks):
        if after.quantity <= before.quantity:
            raise BadInput(
                "The price breaks are out of order: {after} comes after {before}. Put the quantities in rising order.",
                step=step,
                field="breaks",
                before=before.quantity,
                after=after.quantity,
            )
    if any(item.rate < 0 for item in breaks):
        raise BadInput("A price break has a negative rate.", step=step, field="breaks")
    return breaks


@variant(
    "vendor_1",
    "lot charge + rate × quantity at the price break that is cheapest for a quantity not below the needed one, at least the minimum",
)
def lot_price(*, quantity: Decimal, breaks: Sequence[Break], lot_charge: Decimal, minimum: Decimal) -> Decimal:
    """What the vendor charges [money] for one lot of ``quantity`` [measure].

    Paying for more than needed is allowed when the next break makes that cheaper. The minimum includes the lot
    charge. Nothing sent costs nothing. ``breaks`` must be in order (`checked_breaks`).

    >>> table = [Break(Decimal(0), Decimal("1.00")), Break(Decimal(100), Decimal("0.80"))]
    >>> [lot_price(quantity=Decimal(q), breaks=table, lot_charge=Decimal(5), minimum=Decimal(30)) for q in (10, 90, 120)]
    [Decimal('30'), Decimal('85.00'), Decimal('101.00')]
    """
    if not quantity:
        return Decimal(0)
    offers = [max(quantity, item.quantity) * item.rate for item in breaks if item.quantity > quantity]
    reached = [item for item in breaks if item.quantity <= quantity]
    offers.append(quantity * reached[-1].rate)
    return max(lot_charge + min(offers), minimum)
