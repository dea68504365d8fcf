"""How vendor jobs stand: what may leave, what must, what is out and when it is due. Read only."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum

from django.db.models import Exists, OuterRef, Prefetch, QuerySet
from django.utils import timezone

from shop.restorations.models import Part, Restoration
from shop.routes.graph import has_work
from shop.routes.models import Authorisation, Away, Done, PlannedStep, Step
from shop.routes.progress import States, look
from shop.routes.splits import LIVE_PART, LIVE_STEP, origin_step
from shop.vendor_jobs.lots import kind_of_lot
from shop.vendor_jobs.models import Charge, Claim, Job, Line, Promise
from shop.vendor_jobs.sending import of_line


class Stands(StrEnum):
    """How a vendor job stands. It is ready when everything in it may leave."""

    PLANNED = "planned"
    READY = "ready"
    OUT = "out"
    BACK = "back"
    CANCELLED = "cancelled"


def stands(job: Job, *, ready: bool = False) -> Stands:
    """``ready`` says whether everything in a planned lot may leave."""
    if job.cancelled_at is not None:
        return Stands.CANCELLED
    if job.back_on is not None:
        return Stands.BACK
    if job.sent_on is not None:
        return Stands.OUT
    return Stands.READY if ready else Stands.PLANNED


@dataclass(frozen=True, slots=True)
class Leaving:
    """A vendor step that is not in a lot yet and may leave, or will soon; ``leave_by`` is the plan's last day for it."""

    step: Step
    ready: bool
    sentences: tuple[str, ...]
    leave_by: date | None


@dataclass(slots=True)
class Lot:
    """A vendor job as a page shows it: its open lines, how it stands, by when it must leave, what was told last."""

    job: Job
    lines: list[Line]
    stands: Stands
    leave_by: date | None = None
    promise: Promise | None = None
    why_not: list[str] = field(default_factory=list)

    @property
    def bikes(self) -> list[Restoration]:
        """Its bikes, each once."""
        return list({line.step.part.restoration_id: line.step.part.restoration for line in self.lines}.values())


@dataclass(slots=True)
class Board:
    """All that is with vendors, or on its way there: the lots that are not back, and what is in none yet."""

    out: list[Lot] = field(default_factory=list)
    planned: list[Lot] = field(default_factory=list)
    may_leave: list[Leaving] = field(default_factory=list)
    later: list[Leaving] = field(default_factory=list)


def board(*, now: datetime) -> Board:
    """What is out, due, may leave and must leave, in a constant number of queries."""
    lots = list(with_lines(Job.objects.filter(cancelled_at__isnull=True, back_on__isnull=True)))
    steps, shown = _to_go(), {job.pk: _shown(job) for job in lots}
    bikes = {step.part.restoration_id for step in steps} | {
        line.step.part.restoration_id for job in lots if job.sent_on is None for line in shown[job.pk]
    }
    found = look(bikes, now=now).states if bikes else {}
    leave = _leave_by([*steps, *[line.step for lines in shown.values() for line in lines]])
    made = Board()
    for job in lots:
        lot = _lot(job, found, leave)
        (made.out if lot.stands is Stands.OUT else made.planned).append(lot)
    for step in steps:
        state = found.get(step.pk)
        if state is None or state.is_done:
            continue
        one = Leaving(step, state.is_ready, state.sentences, leave.get(origin_step(step)))
        (made.may_leave if one.ready else made.later).append(one)
    made.out.sort(key=lambda lot: (lot.promise.due_on if lot.promise else date.max, lot.job.number))
    made.planned.sort(key=lambda lot: (lot.leave_by or date.max, lot.job.number))
    made.may_leave.sort(key=_by_day)
    made.later.sort(key=_by_day)
    return made


def _by_day(one: Leaving) -> tuple[date, int, int]:
    return one.leave_by or date.max, one.step.part.restoration_id, one.step.part.position


def with_lines(jobs: QuerySet[Job]) -> QuerySet[Job]:
    """Jobs with vendor, open lines (as ``shown``) and what was told (as ``told``); three queries."""
    lines = Line.objects.filter(outcome__in=[Line.Outcome.OPEN, Line.Outcome.LOST]).select_related(
        "step__part__restoration__machine",
        "step__part__restoration__customer",
        "step__part__agreed_finish",
        "step__part__size_class",
        "step__service",
    )
    return jobs.select_related("service__vendor").prefetch_related(
        Prefetch("lines", lines, to_attr="shown"), Prefetch("promises", Promise.objects.order_by("pk"), to_attr="told")
    )


def _shown(job: Job) -> list[Line]:
    """The lines that `with_lines` hung on a job."""
    lines: list[Line] = job.shown  # type: ignore[attr-defined]
    return lines


def _to_go() -> list[Step]:
    """Authorised vendor steps on a route that are not done, not out and in no lot, with all that a list says of them."""
    own = {"step": OuterRef("pk")}
    rows = Step.objects.filter(
        ~Exists(Line.objects.filter(**own, outcome=Line.Outcome.OPEN)),
        ~Exists(Away.objects.filter(**own, ended_on__isnull=True)),
        ~Exists(Done.objects.filter(**own, visit=OuterRef("visit"), undone_at__isnull=True)),
        Exists(Authorisation.objects.filter(step_uid=OuterRef("uid"))),
        LIVE_STEP,
        service__isnull=False,
        part__in=Part.objects.filter(LIVE_PART),
    )
    rows = rows.select_related(
        "service__vendor",
        "part__restoration__machine",
        "part__restoration__customer",
        "part__agreed_finish",
        "part__size_class",
    )
    return [step for step in rows.order_by("part__restoration", "part__position", "position") if has_work(step)]


def _leave_by(steps: Iterable[Step]) -> dict[int, date]:
    """Step, or the one it was split from, to the last day on which it may leave. One query."""
    wanted = {origin_step(step) for step in steps}
    rows = PlannedStep.objects.filter(step__in=wanted, leave_by__isnull=False)
    return {step: day for step, day in rows.values_list("step", "leave_by") if day is not None}


def _lot(job: Job, found: States, leave: dict[int, date]) -> Lot:
    lines = _shown(job)
    told: list[Promise] = job.told  # type: ignore[attr-defined]
    days = [leave[key] for line in lines if (key := origin_step(line.step)) in leave]
    lot = Lot(job, lines, stands(job), min(days, default=None), told[-1] if told else None)
    if job.sent_on is None:
        lot.why_not = [said for line in lines for said in of_line(line, found)]
        lot.stands = stands(job, ready=bool(lines) and not lot.why_not)
    return lot


@dataclass(frozen=True, slots=True)
class Proposal:
    """Steps that may leave and may share a lot; ``leave_by`` is the first of their days."""

    steps: tuple[Step, ...]
    leave_by: date | None

    @property
    def first(self) -> Step:
        """The step that says what all of them are."""
        return self.steps[0]

    @property
    def bikes(self) -> list[Restoration]:
        """Its bikes, each once."""
        return list({step.part.restoration_id: step.part.restoration for step in self.steps}.values())


def proposals(leaving: Iterable[Leaving]) -> list[Proposal]:
    """What may leave, put together where it may share a lot; the first that must leave comes first."""
    found: dict[tuple[object, ...], list[Leaving]] = {}
    for one in leaving:
        if one.ready:
            found.setdefault(kind_of_lot(one.step), []).append(one)
    made = [
        Proposal(
            tuple(one.step for one in group),
            min((one.leave_by for one in group if one.leave_by is not None), default=None),
        )
        for group in found.values()
    ]
    return sorted(made, key=lambda one: (one.leave_by or date.max, one.first.pk))


def joinable(job: Job, leaving: Iterable[Leaving]) -> list[Leaving]:
    """What may leave and may go with a planned lot."""
    lines = job.lines.filter(outcome=Line.Outcome.OPEN).select_related("step__part")
    kinds = {kind_of_lot(line.step) for line in lines}
    return [one for one in leaving if one.ready and kind_of_lot(one.step) in kinds]


def open_claims() -> Sequence[Claim]:
    """The claims nobody settled yet, the oldest first; one query."""
    rows = Claim.objects.filter(settled_at__isnull=True)
    return list(rows.select_related("line__job__service__vendor", "line__step__part__restoration__machine"))


def without_charge(*, now: datetime, only: Collection[int] | None = None) -> QuerySet[Job]:
    """Jobs of which something came back and for which no charge stands; those done again free are charged nothing."""
    came = Line.objects.filter(job=OuterRef("pk"), outcome__in=[Line.Outcome.GOOD, Line.Outcome.REJECTED])
    standing = Charge.objects.filter(job=OuterRef("pk"), reverses__isnull=True, reversed_by__isnull=True)
    rows = Job.objects.filter(Exists(came), ~Exists(standing), sent_on__lte=timezone.localdate(now))
    rows = rows.exclude(redo_of__isnull=False, agreed_minor=0)
    return rows if only is None else rows.filter(service__vendor__in=only)
