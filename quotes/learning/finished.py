"""Finished bikes: what they were quoted with and what they really cost, at the rates they were quoted at.

Labour and overhead are all attended minutes, redo included, at what a quoted minute cost; vendor work what was charged
against what was agreed; material and bought-in parts as quoted. In a constant number of queries.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, Q, Sum

from quotes.engine.learning.calibration import Calibration, Held, calibration
from quotes.engine.learning.look_alikes import Ballpark, Finished, Said, nearest
from quotes.engine.money import places, rounded, to_minor
from quotes.learning import work
from quotes.pricing.models import IssuedQuote, Outcome, Stage
from shop import currency
from shop.rates.selectors import odds
from shop.restorations.models import Part, Restoration
from shop.routes.models import Task
from shop.vendor_jobs.models import Charge, Job

#: So many that were handed over last are looked at.
MOST = 400
ZERO = Decimal(0)
#: What tells most of a bike's cost counts more.
WEIGHTS = {"parts": 3, "shabby": 2, "model": 2}


@dataclass(frozen=True, slots=True)
class Bike:
    """A finished bike with its quote: ``expected`` and ``actual`` cost, ``contingency`` [minor units], minutes on it."""

    restoration: Restoration
    expected: int
    contingency: int
    actual: int
    minutes: int

    @property
    def held(self) -> Held:
        return Held(self.expected, self.contingency, self.actual)


def bikes() -> list[Bike]:
    """Bikes that were handed over, the last `MOST`, the newest first. Seven queries."""
    accepted = IssuedQuote.objects.filter(
        stage=Stage.MAIN, outcome__kind=Outcome.Kind.ACCEPTED, restoration__handed_over__isnull=False
    )
    rows = accepted.select_related("restoration__machine", "restoration__customer").order_by(
        "-restoration__handed_over__on", "-number"
    )
    newest: dict[int, IssuedQuote] = {}
    for quote in rows.defer("snapshot", "offer")[:MOST]:
        newest.setdefault(quote.restoration_id, quote)
    minutes = _minutes(newest)
    charged = _charged(newest)
    return [_bike(quote, minutes.get(pk, 0), charged.get(pk)) for pk, quote in newest.items()]


def _minutes(restorations: Iterable[int]) -> dict[int, int]:
    own = Task.objects.filter(restoration__in=list(restorations), kind__in=[Task.Kind.BIKE, Task.Kind.REWORK])
    of = dict(own.values_list("pk", "restoration"))
    found: dict[int, int] = {}
    for task, people in work.minutes(own).items():
        bike = of[task]
        assert bike is not None
        found[bike] = found.get(bike, 0) + sum(people.values())
    return found


def _charged(restorations: Iterable[int]) -> dict[int, tuple[int, int]]:
    """Restoration to what was charged and what was agreed for lots that are charged, of lots of that bike alone."""
    lots = Job.objects.filter(sent_on__isnull=False, charges__isnull=False).annotate(
        bikes=Count("lines__step__part__restoration", distinct=True)
    )
    alone = lots.filter(bikes=1, lines__step__part__restoration__in=list(restorations)).distinct()
    agreed = dict(alone.values_list("pk", "agreed_minor"))
    of = dict(alone.values_list("pk", "lines__step__part__restoration"))
    sums = Charge.objects.filter(job__in=list(agreed)).order_by().values_list("job").annotate(Sum("net_minor"))
    found: dict[int, tuple[int, int]] = {}
    for job, net in sums:
        paid, said = found.get(of[job], (0, 0))
        found[of[job]] = paid + net, said + (agreed[job] or 0)
    return found


def _bike(quote: IssuedQuote, minutes: int, charged: tuple[int, int] | None) -> Bike:
    result: dict[str, Any] = json.loads(quote.result)
    sums = {
        name: sum((Decimal(line[name]) for line in result["lines"]), ZERO) for name in ("labour", "overhead", "vendor")
    }
    quoted = Decimal(result["minutes"])
    more = (sums["labour"] + sums["overhead"]) * (minutes / quoted - 1) if quoted else ZERO
    if charged and charged[1]:
        more += sums["vendor"] * (Decimal(charged[0]) / charged[1] - 1)
    cost = Decimal(result["cost"])
    return Bike(
        restoration=quote.restoration,
        expected=_minor(cost),
        contingency=quote.contingency_minor,
        actual=_minor(cost + more),
        minutes=minutes,
    )


def _minor(amount: Decimal) -> int:
    digits = places(currency.code())
    return to_minor(rounded(amount, digits=digits), digits=digits)


def calibrated(found: Iterable[Bike], *, today: date) -> Calibration:
    """How often the prices of ``found`` held, against how often the shop wants that."""
    return calibration([bike.held for bike in found], wanted=float(odds(today).kept) / 100)


# -- look-alikes -----------------------------------------------------------------------------------------------------------


def look_alikes(asked: Said, *, count: int = 5) -> tuple[Ballpark | None, dict[str, Bike]]:
    """The finished bikes nearest to what is ``asked``, and all that were looked at by their uid. Eight queries."""
    known = {str(bike.restoration.uid): bike for bike in bikes()}
    parts = _parts([bike.restoration.pk for bike in known.values()])
    finished = [
        Finished(uid, said(bike.restoration, parts.get(bike.restoration.pk, (0, 0))), bike.actual, bike.minutes)
        for uid, bike in known.items()
    ]
    return nearest(asked, finished, count=count, weights=WEIGHTS), known


def _parts(restorations: list[int]) -> dict[int, tuple[int, int]]:
    """Restoration to its parts in scope, and how many of them are corroded or seized."""
    rows = Part.objects.filter(restoration__in=restorations, removed_at__isnull=True, split_from__isnull=True)
    bad = Count("pk", filter=Q(condition__in=["corroded", "seized"]))
    return {bike: (all_of_them, poor) for bike, all_of_them, poor in _grouped(rows, bad)}


def _grouped(rows: Any, bad: Count) -> Iterable[tuple[int, int, int]]:
    found: Iterable[tuple[int, int, int]] = (
        rows.order_by().values_list("restoration").annotate(every=Count("pk"), bad=bad)
    )
    return found


def said(restoration: Restoration, parts: tuple[int, int]) -> dict[str, str | int]:
    """A bike as somebody would describe it by telephone. ``parts`` are those in scope, and of these in poor condition."""
    machine = restoration.machine
    found: dict[str, str | int] = {"maker": machine.maker, "model": machine.model, "parts": parts[0]}
    if machine.year:
        found["year"] = machine.year
    if parts[0]:
        found["shabby"] = round(100 * parts[1] / parts[0])
    return found
