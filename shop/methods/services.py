from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from shop.journal.services import subject_of
from shop.methods.dated import add_revision, held_before, tell
from shop.methods.models import Operation, StandardTime


@transaction.atomic
def note_standard_time(
    *,
    operation: Operation,
    valid_from: date,
    setup: Decimal,
    run: Decimal,
    allowance: Decimal = Decimal(0),
    shop_factor: Decimal = Decimal(1),
    spread: Decimal = Decimal("0.35"),
    who: str,
    now: datetime,
) -> StandardTime:
    """``setup`` [min/batch], ``run`` [min/measure], ``allowance`` [%]. Raises ``ValidationError`` at the wrong field."""
    row = StandardTime(
        operation=operation,
        valid_from=valid_from,
        setup=setup,
        run=run,
        allowance=allowance,
        shop_factor=shop_factor,
        spread=spread,
    )
    before = held_before(row, of="operation")
    add_revision(row, of="operation")
    tell(row, what="standard time noted", subject=subject_of(operation), before=before, who=who, now=now)
    return row
