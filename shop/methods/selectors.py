"""How things are done, as it stands on a day."""

from collections.abc import Iterable
from datetime import date

from shop.methods.dated import held_by, in_force
from shop.methods.models import StandardTime


def standard_times(on: date, *, only: Iterable[str] | None = None) -> dict[int, StandardTime]:
    """Operation id to its standard time in force; ``only`` those operations whose uid is named."""
    times = in_force(StandardTime.objects.all(), of="operation", on=on)
    wanted = None if only is None else set(only)
    if wanted is not None:
        times = times.filter(operation__uid__in=wanted)
    times = times.select_related("operation__place", "operation__grade")
    return held_by(
        times, of="operation_id", on=on, also=lambda time: wanted is None or str(time.operation.uid) in wanted
    )
