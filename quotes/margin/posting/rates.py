"""What an hour costs on a day, and what overhead is laid on it: read once for everything that is posted together."""

from bisect import bisect_right
from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quotes.margin.models import Budget
from quotes.pricing.models import Outcome, Stage
from shop.rates.models import GradeRate, PricePolicy

HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Laying:
    """How overhead is laid on labour: by the hour [minor units/h] or as a share of labour [fraction]; and the handling rate."""

    per_hour: Decimal = Decimal(0)
    of_labour: Decimal = Decimal(0)
    handling: Decimal = Decimal(0)

    def on(self, *, hours: Decimal, labour: Decimal) -> Decimal:
        """Overhead [minor units] on ``hours`` that cost ``labour`` [minor units]."""
        return hours * self.per_hour + labour * self.of_labour


class HourRates:
    """Grade and day to the cost of an hour [minor units]; None where the grade had no rate yet. One query."""

    def __init__(self) -> None:
        self._days: dict[int, list[date]] = defaultdict(list)
        self._rates: dict[int, list[int]] = defaultdict(list)
        rows = GradeRate.objects.order_by("valid_from", "revision")
        for grade, day, rate in rows.values_list("grade", "valid_from", "cost_rate_minor"):
            self._days[grade].append(day)
            self._rates[grade].append(rate)

    def of(self, grade: int | None, day: date) -> int | None:
        if grade is None:
            return None
        place = bisect_right(self._days.get(grade, []), day)
        return self._rates[grade][place - 1] if place else None


class Layings:
    """Overhead as the accepted main offer of a bike laid it on, else as the policy of the day does. Two queries."""

    def __init__(self) -> None:
        rows = Budget.objects.filter(quote__stage=Stage.MAIN, quote__outcome__kind=Outcome.Kind.ACCEPTED)
        self._of_bikes = {
            bike: Laying(Decimal(rate or 0), (percent or Decimal(0)) / HUNDRED, handling / HUNDRED)
            for bike, rate, percent, handling in rows.order_by("quote__number").values_list(
                "quote__restoration", "overhead_rate_minor", "overhead_percent", "handling_percent"
            )
        }
        self._policies = [
            (row.valid_from, _of_policy(row)) for row in PricePolicy.objects.order_by("valid_from", "revision")
        ]
        self._days = [day for day, _laying in self._policies]

    def of(self, restoration: int | None, day: date) -> Laying:
        if restoration in self._of_bikes:
            return self._of_bikes[restoration]
        place = bisect_right(self._days, day)
        return self._policies[place - 1][1] if place else Laying()


def _of_policy(row: PricePolicy) -> Laying:
    by_hours = row.overhead_by == PricePolicy.OverheadBy.HOURS
    handling = row.handling_percent / HUNDRED
    if by_hours:
        return Laying(per_hour=Decimal(row.overhead_rate_minor), handling=handling)
    return Laying(of_labour=row.overhead_percent / HUNDRED, handling=handling)
