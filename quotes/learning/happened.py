"""What happened besides minutes: lead times, damage, work done again. Read in a constant number of queries."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q

from quotes.engine.chance.lead_times import Lead, within
from shop.floor.models import Rework
from shop.methods.models import FinishStep, PossibleDamage, Service
from shop.restorations.models import PartDamage
from shop.routes.models import Done, Step
from shop.vendor_jobs.comparing import leads_by_service

#: z for intervals at 90 %.
Z = 1.6449
HALF = 0.5


@dataclass(frozen=True, slots=True)
class LeadTime:
    """Half of a service's lots are back in ``days`` [working days of the vendor, door to door], between ``low`` and ``high``."""

    service: Service
    book: int
    days: int
    low: int
    high: int
    lots: int
    out: int


def lead_times(*, today: date) -> list[LeadTime]:
    """Of each service of which half can be told. The interval is that of the middle's rank (common practice)."""
    found = []
    for service, leads in leads_by_service(today=today):
        days = within(leads, HALF)
        if days is not None:
            low, high = _around(leads, days)
            out = sum(lead.out for lead in leads)
            book = service.lead_days + 2 * service.vendor.transport_days
            found.append(LeadTime(service, book, days, low, high, len(leads), out))
    return found


def _around(leads: list[Lead], days: int) -> tuple[int, int]:
    off = Z * (HALF * HALF / len(leads)) ** 0.5
    most = max(lead.days for lead in leads)
    low = within(leads, HALF - off) if off < HALF else None
    high = within(leads, HALF + off) if off < HALF else None
    return (min(lead.days for lead in leads) if low is None else min(low, days)), (
        most if high is None else max(high, days)
    )


@dataclass(frozen=True, slots=True)
class Hits:
    """How often something came about of how often it could have."""

    subject: str
    label: str
    hits: int
    count: int
    assumed: float


def damages(chances: dict[str, float]) -> list[Hits]:
    """Of each possible damage of the list how often it was found where somebody looked; ``chances`` are behind its words."""
    settled = PartDamage.objects.filter(damage__isnull=False, removed_at__isnull=True).exclude(settled="")
    rows = settled.order_by().values("damage").annotate(all=Count("pk"), found=Count("pk", filter=Q(settled="found")))
    usual = {row.pk: row for row in PossibleDamage.objects.select_related("kind")}
    return [
        Hits(str(one.uid), f"{one.kind}: {one}", row["found"], row["all"], chances[one.frequency])
        for row in sorted(rows, key=lambda row: row["damage"])
        if (one := usual[row["damage"]])
    ]


def done_again() -> list[Hits]:
    """Of each operation in the route of a finish, how many visits failed."""
    of = ("step__operation", "step__part__agreed_finish")
    steps = {
        "step__origin": Step.Origin.FINISH,
        "step__operation__isnull": False,
        "step__part__agreed_finish__isnull": False,
    }
    good = Done.objects.filter(undone_at__isnull=True, **steps).order_by().values_list(*of).annotate(Count("pk"))
    bad = Rework.objects.filter(**steps).order_by().values_list(*of).annotate(Count("pk"))
    counts: dict[tuple[int, int], list[int]] = {}
    for place, rows in enumerate((bad, good)):
        for operation, finish, count in rows:
            counts.setdefault((operation, finish), [0, 0])[place] = count
    asked = FinishStep.objects.filter(operation__isnull=False).select_related("operation", "route__finish")
    book: dict[tuple[int, int], FinishStep] = {}
    for step in asked.order_by("route__direction", "position"):
        if step.operation_id is not None and step.fail_chance:
            book.setdefault((step.operation_id, step.route.finish_id), step)
    found = []
    for key, step in book.items():
        hits, fine = counts.get(key, [0, 0])
        if hits + fine and step.operation:
            subject = f"{step.route.finish.uid} {step.operation.uid}"
            label = f"{step.route.finish}: {step.operation}"
            found.append(Hits(subject, label, hits, hits + fine, float(step.fail_chance) / 100))
    return sorted(found, key=lambda one: one.label)


def causes() -> list[tuple[str, int]]:
    """Why work was done again, the most frequent first. One query."""
    rows = Rework.objects.order_by().values_list("cause__name").annotate(count=Count("pk"))
    return sorted(rows, key=lambda row: (-row[1], row[0]))
