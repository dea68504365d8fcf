"""The money of all accepted jobs: for the manager's list, and for what waits for the desk."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q, QuerySet

from quotes.pricing.models import IssuedQuote, Outcome
from quotes.pricing.money import money_in
from quotes.pricing.money.money_in import Standing
from shop.rereading import reread
from shop.restorations.models import Restoration
from shop.routes.models import Hold


@dataclass(frozen=True, slots=True)
class Job:
    """An accepted job, how its money stands, and since when it is held."""

    restoration: Restoration
    standing: Standing
    held: Hold | None = None

    @property
    def settled(self) -> bool:
        """Whether nothing more is to come in or go back."""
        return not self.standing.to_come


@dataclass(frozen=True, slots=True)
class Jobs:
    """The jobs asked for, sums over the open ones, and how many are settled."""

    rows: Sequence[Job]
    to_come: Decimal
    late: Decimal
    settled: int


def accepted_restorations() -> QuerySet[Restoration]:
    """Restorations with an accepted quote."""
    accepted = IssuedQuote.objects.filter(restoration=OuterRef("pk"), outcome__kind=Outcome.Kind.ACCEPTED)
    return Restoration.objects.select_related("customer", "machine").filter(Exists(accepted))


@reread(most=4)
def jobs(day: date, *, settled: bool = False) -> Jobs:
    """All accepted jobs on ``day``, the longest late first; those that are settled only where asked for. Five queries."""
    rows = list(accepted_restorations())
    standings, held = money_in.standings(rows, day), held_by(rows, day)
    every = [Job(row, standings[row.pk], held.get(row.pk)) for row in rows]
    open_ones = [job for job in every if not job.settled]
    return Jobs(
        rows=sorted(every if settled else open_ones, key=_by_lateness),
        to_come=sum((job.standing.to_come for job in open_ones), Decimal(0)),
        late=sum((job.standing.late for job in open_ones), Decimal(0)),
        settled=len(every) - len(open_ones),
    )


def _by_lateness(job: Job) -> tuple[date, Decimal, date, int]:
    standing = job.standing
    held = job.held.first if job.held else date.max
    return standing.late_since or date.max, -standing.late, held, job.restoration.pk


def running(day: date) -> QuerySet[Hold]:
    """Holds that run on ``day``, the longest first."""
    to_come = Q(last__isnull=True) | Q(last__gte=day)
    rows = Hold.objects.filter(to_come, first__lte=day, removed_at__isnull=True)
    return rows.select_related("restoration__customer").order_by("first", "pk")


def held_by(restorations: Iterable[Restoration], day: date) -> dict[int, Hold]:
    """Restoration id to the hold that runs on ``day`` for the longest time."""
    found: dict[int, Hold] = {}
    for hold in running(day).filter(restoration__in=[row.pk for row in restorations]):
        found.setdefault(hold.restoration_id, hold)
    return found
