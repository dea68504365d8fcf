"""What a lot should cost by the rate book, and what a vendor job comes to: charged, or until then as agreed."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from quotes.engine.money import places, rounded, to_minor
from quotes.engine.vendor_work import checked_breaks, lot_price
from quotes.engine.visits import quantity
from shop import currency
from shop.methods.models import Service
from shop.rates import engine_values
from shop.rates.selectors import service_prices
from shop.routes.models import Step
from shop.routes.selectors import as_measured
from shop.vendor_jobs.models import Charge, Job, Line

ZERO = Decimal(0)


def by_the_book(service: Service, steps: Sequence[Step], *, on: date) -> int | None:
    """What one lot of ``steps`` costs by the price in force [minor units before tax]; None without a price.

    One query; steps come with their part, its size class, and their service.
    """
    price = service_prices(on, only=[str(service.uid)]).get(service.pk)
    if price is None:
        return None
    rule = engine_values.service(price)
    sized = sum((quantity(*as_measured(step), rule.measure) for step in steps), ZERO)
    cost = lot_price(
        quantity=sized,
        breaks=checked_breaks(rule.breaks, step=service.name),
        lot_charge=rule.lot_charge,
        minimum=rule.minimum,
    )
    digits = places(currency.code())
    return to_minor(rounded(cost, digits=digits), digits=digits)


def charged(job: Job) -> int | None:
    """The sum of its charges [minor units before tax]; None while none stands."""
    kept = standing_charges(job)
    return sum(row.net_minor for row in kept) if kept else None


def accrued(job: Job) -> int | None:
    """What is counted for a job whose charge is not in yet: the agreed price once something came back, else nothing.

    None where there is a charge, or nobody agreed on a price.
    """
    came = any(line.outcome in {Line.Outcome.GOOD, Line.Outcome.REJECTED} for line in job.lines.all())
    return job.agreed_minor if came and charged(job) is None else None


def standing_charges(job: Job) -> list[Charge]:
    """The charges that were not reversed."""
    rows = list(job.charges.all())
    gone = {row.reverses_id for row in rows}
    return [row for row in rows if row.reverses_id is None and row.pk not in gone]
