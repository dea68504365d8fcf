"""How things are done, as it stands on a day."""

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal

from shop.methods.dated import in_force
from shop.methods.models import ConditionFactor, FinishRoute, StandardTime


def standard_times(on: date, *, only: Iterable[str] | None = None) -> dict[int, StandardTime]:
    """Operation id to its standard time in force; ``only`` those operations whose uid is named."""
    times = in_force(StandardTime.objects.all(), of="operation", on=on)
    if only is not None:
        times = times.filter(operation__uid__in=list(only))
    times = times.select_related("operation__place", "operation__grade")
    return {time.operation_id: time for time in times}


def condition_factors() -> dict[tuple[int, str], Decimal]:
    """(operation id, condition) to the factor on the run time; what is not there is 1."""
    rows = ConditionFactor.objects.values_list("operation_id", "condition", "factor")
    return {(operation, condition): factor for operation, condition, factor in rows}


def finish_routes(direction: str) -> Mapping[tuple[int, str], FinishRoute]:
    """(finish id, material) to the route that puts the finish on or takes it off, with its steps in order."""
    routes = FinishRoute.objects.filter(direction=direction)
    return {
        (route.finish_id, route.material): route
        for route in routes.prefetch_related("steps__operation", "steps__service")
    }
