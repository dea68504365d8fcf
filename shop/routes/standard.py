"""Standard minutes of steps, each as if it stood alone: what a card says, and what a task's minutes are shared by.

They go by the standard times of a day, and not by the shop factor or the pace of a grade: these say how far from standard
the shop is, which is what clocking finds out.
"""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quotes.engine.batches import set_ups
from quotes.engine.errors import BadInput
from quotes.engine.inputs import Measure
from quotes.engine.labour import standard_time
from quotes.engine.visits import extent, quantity
from shop.methods.models import ConditionFactor, StandardTime
from shop.methods.selectors import standard_times
from shop.routes.models import Step
from shop.routes.selectors import ONE, as_measured

NONE = Decimal(0)
HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Standard:
    """Set-up and run of a step [min], its allowance in both."""

    setup: Decimal
    run: Decimal

    @property
    def minutes(self) -> Decimal:
        return self.setup + self.run


NOTHING = Standard(NONE, NONE)


def standard_minutes(steps: Iterable[Step], *, on: date) -> dict[int, Standard]:
    """Step to its standard set-up and run on a day, in two queries; steps come with part, size class and operation.

    What is no labour, has no standard time, or has one by the hour and no hours, is not in it. Nothing to do needs no set-up.
    """
    labour = [(step, step.operation) for step in steps if step.operation is not None]
    times = standard_times(on, only={str(operation.uid) for _step, operation in labour})
    factors = {(row.operation_id, row.condition): row.factor for row in ConditionFactor.objects.all()}
    found = {}
    for step, operation in labour:
        if operation.pk in times:
            with suppress(BadInput):
                factor = factors.get((operation.pk, step.part.condition), ONE)
                found[step.pk] = _standard(step, times[operation.pk], factor)
    return found


def _standard(step: Step, time: StandardTime, factor: Decimal) -> Standard:
    part, measured = as_measured(step)
    measure = Measure(time.operation.measure)
    amount = quantity(part, measured, measure)
    if not amount:
        return NOTHING
    allowance = time.allowance / HUNDRED
    place = time.operation.place
    capacity, by = (place.capacity, Measure(place.capacity_by)) if place else (NONE, Measure.PIECE)
    load = ONE if not capacity or by is Measure.BATCH else extent(part, measured, by, measure) or capacity
    setups = set_ups(load=load, capacity=capacity)
    return Standard(standard_time(setups * time.setup, allowance), standard_time(time.run * amount * factor, allowance))
