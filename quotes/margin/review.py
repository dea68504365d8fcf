"""The weekly review: each job with what it will still leave, what changed since the week closed last, and why."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cached_property

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine import canonical
from quotes.engine.margin import changes
from quotes.engine.margin.exact import added
from quotes.engine.margin.ranking import ranked
from quotes.engine.money import from_minor, places, rounded, to_minor
from quotes.margin import jobs as gathering
from quotes.margin import posting, weeks
from quotes.margin.figures import Figures, figures, quoted, words
from quotes.margin.models import Close, CostEntry, Reviewed, WeekNote
from shop import currency
from shop.floor.models import DamageReport, Rework
from shop.one_moment import one_moment
from shop.restorations.models import Restoration
from shop.routes.models import Away, Done, Hold, Override, PlannedStep

NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Kept:
    """What is kept of a job with a closed week, so that the next one can say what changed [money; min]."""

    leaves: changes.Kept
    spent: Decimal
    ordered: Decimal
    left: Decimal
    left_budgeted: Decimal


@dataclass(slots=True)
class Beside:
    """What else is to be looked at on a job."""

    stuck: list[str] = field(default_factory=list)
    reports: int = 0
    overrides: int = 0
    redone: list[tuple[str, int]] = field(default_factory=list)
    notes: list[WeekNote] = field(default_factory=list)
    driver: str = ""


@dataclass(frozen=True)
class Row:
    """One job in the review. ``before`` is how it stood when its last week was closed."""

    figures: Figures
    before: Kept | None
    ready_before: date | None
    beside: Beside

    @property
    def restoration(self) -> Restoration:
        return self.figures.job.restoration

    @cached_property
    def change(self) -> changes.Change:
        """From how it stood when its last week was closed, or as it was quoted, to now, by cause."""
        return changes.change(self.before.leaves if self.before else quoted(self.figures.job), self.figures.leaves)

    @property
    def cause(self) -> str:
        """The largest cause in words, with the part in which it lies; nothing where nothing moved."""
        largest = self.change.largest
        if largest is None:
            return ""
        why = words(largest.cause, largest.amount)
        part = self.figures.job.part_of(largest.uid)
        return _("%(part)s: %(why)s") % {"part": part, "why": why} if part else str(why)

    @property
    def late_by(self) -> int | None:
        """Days that the ready day lies after the day promised; None where one of them is not known."""
        job = self.figures.job
        return (job.ready - job.promised).days if job.ready and job.promised else None


@dataclass(frozen=True, slots=True)
class Review:
    """All jobs of a week, first those where most can still be saved."""

    week: date
    rows: Sequence[Row]
    closed: Close | None
    unrated: int

    @property
    def leaves(self) -> Decimal:
        """What all jobs together will still leave [money]."""
        return added(row.figures.money for row in self.rows)

    @property
    def change(self) -> Decimal:
        """What changed since the last close in all of them [money]."""
        return added(row.change.amount for row in self.rows)


def review(*, now: datetime) -> Review:
    """The review as of ``now``: facts are posted first. A fixed number of queries beside what is posted."""
    posting.everything(now=now)
    return look(now=now)


def look(*, now: datetime) -> Review:
    """The same from what is posted, as it all was at one moment."""
    with one_moment():
        return _look(now)


def _look(now: datetime) -> Review:
    today = timezone.localdate(now)
    closed = weeks.last_close()
    since = closed.week if closed else today - timedelta(days=7)
    found = gathering.gather(list(gathering.restorations(since)), now=now)
    lots = gathering.at_lots(found)
    pks = [job.restoration.pk for job in found]
    before = _before(pks, closed)
    week = weeks.to_close(today) or weeks.week_of(today)
    beside = _beside(pks, since=since, today=today, week=week)
    rows = []
    for job in found:
        pk = job.restoration.pk
        stood, ready = before.get(pk, (None, None))
        rows.append(Row(figures(job, lots), before=stood, ready_before=ready, beside=beside[pk]))
    unrated = CostEntry.objects.filter(rate_minor__isnull=True, seconds__gt=0, reversed_by__isnull=True, close=None)
    order = {one.job: place for place, one in enumerate(ranked(row.figures.standing for row in rows))}
    rows.sort(key=lambda row: order[row.figures.standing.job])
    return Review(week, rows, closed, unrated.count())


def _before(pks: Sequence[int], closed: Close | None) -> dict[int, tuple[Kept, date | None]]:
    if closed is None:
        return {}
    rows = Reviewed.objects.filter(close=closed, restoration__in=pks)
    return {row.restoration_id: (canonical.load(Kept, row.figures.encode()), row.ready) for row in rows}


def _beside(pks: Sequence[int], *, since: date, today: date, week: date) -> Mapping[int, Beside]:
    """What holds a job up, what was not agreed, let pass or done again since the last close. Seven queries."""
    found = {pk: Beside() for pk in pks}
    of_part = {"step__part__restoration__in": pks}
    holds = Hold.objects.filter(restoration__in=pks, removed_at__isnull=True, first__lte=today)
    for hold in holds.filter(Q(last__isnull=True) | Q(last__gte=today)):
        found[hold.restoration_id].stuck.append(hold.reason)
    late = Away.objects.filter(**of_part, ended_on__isnull=True).filter(Q(lost=True) | Q(due_on__lt=today))
    for row in late.select_related("step__part").order_by("due_on"):
        found[row.step.part.restoration_id].stuck.append(f"{row.where}: {row.step.part.name}")
    reports = DamageReport.objects.filter(part__restoration__in=pks, settled_at__isnull=True)
    for pk in reports.values_list("part__restoration", flat=True):
        found[pk].reports += 1
    overrides = Override.objects.filter(**of_part, at__date__gte=since)
    for pk in overrides.values_list("step__part__restoration", flat=True):
        found[pk].overrides += 1
    causes: dict[tuple[int, str], int] = {}
    for pk, cause in Rework.objects.filter(**of_part, at__date__gte=since).values_list(
        "step__part__restoration", "cause__name"
    ):
        causes[pk, cause] = causes.get((pk, cause), 0) + 1
    for (pk, cause), times in sorted(causes.items()):
        found[pk].redone.append((cause, times))
    for pk, step in _drivers(pks).items():
        found[pk].driver = step
    for note in WeekNote.objects.filter(restoration__in=pks, week=week):
        if note.restoration_id is not None:
            found[note.restoration_id].notes.append(note)
    return found


def _drivers(pks: Sequence[int]) -> dict[int, str]:
    """Restoration to the first open step that decides its ready day, by the plan that is kept."""
    done = Done.objects.filter(step=OuterRef("step"), visit=OuterRef("step__visit"), undone_at__isnull=True)
    rows = PlannedStep.objects.filter(plan__restoration__in=pks, drives=True).exclude(Exists(done))
    found: dict[int, str] = {}
    columns = ("plan__restoration", "step__part__name", "step__operation__name", "step__service__name", "step__buy")
    for pk, part, *work in rows.order_by("earliest_start", "pk").values_list(*columns):
        found.setdefault(pk, f"{part}: {next(filter(None, work), '')}")
    return found


# -- keeping ------------------------------------------------------------------------------------------------------------


def kept(row: Row) -> Kept:
    """What is kept of a job with its week."""
    found = row.figures.forecast
    return Kept(changes.keep(row.figures.leaves), found.spent, found.ordered, found.left, found.left_budgeted)


def keep(close: Close, rows: Iterable[Row]) -> None:
    """Keep how the jobs stood as a week was closed."""
    digits = places(currency.code())
    Reviewed.objects.bulk_create(
        Reviewed(
            close=close,
            restoration=row.restoration,
            left_minor=to_minor(rounded(row.figures.money, digits=digits), digits=digits),
            ready=row.figures.job.ready,
            promised=row.figures.job.promised,
            figures=canonical.dump(kept(row)).decode(),
        )
        for row in rows
    )


def past(close: Close) -> list[tuple[Reviewed, Kept]]:
    """How the jobs stood when a week was closed."""
    rows = close.jobs.select_related("restoration__customer", "restoration__machine")
    return [(row, canonical.load(Kept, row.figures.encode())) for row in rows]


def history(restoration: Restoration) -> list[tuple[date, Decimal, Decimal]]:
    """The weeks of a job: week, what it would leave and its price [money]."""
    digits = places(currency.code())
    rows = Reviewed.objects.filter(restoration=restoration).select_related("close").order_by("close__week")
    return [
        (
            row.close.week,
            from_minor(row.left_minor, digits=digits),
            canonical.load(Kept, row.figures.encode()).leaves.price.total,
        )
        for row in rows
    ]


@transaction.atomic
def note(
    *, week: date, words: str, restoration: Restoration | None, decided: bool, who: str, now: datetime
) -> WeekNote:
    """Keep a note or a decision with a week. Raises at the field."""
    row = WeekNote(
        week=weeks.week_of(week), restoration=restoration, words=words.strip(), decided=decided, who=who, at=now
    )
    row.full_clean()
    row.save(force_insert=True)
    return row
