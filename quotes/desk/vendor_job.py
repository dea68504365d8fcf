"""What the page of a vendor job shows: its lines, what holds it back, what was told, charged and claimed. Read only."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet
from django.http import Http404
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.desk import vendor_work
from quotes.engine.money import from_minor, places
from shop import currency
from shop.floor import custody, tag_codes
from shop.journal.models import Entry
from shop.routes.models import Authorisation, Step
from shop.text import money
from shop.vendor_jobs.lots import kind_of_lot
from shop.vendor_jobs.models import Charge, Claim, Job, Line, Promise, Terms
from shop.vendor_jobs.prices import by_the_book, charged
from shop.vendor_jobs.sending import beyond_insured, following, value_there, why_not
from shop.vendor_jobs.standing import Leaving, Stands, board, joinable, stands

OPEN, LOST, NOT_SENT = Line.Outcome.OPEN, Line.Outcome.LOST, Line.Outcome.NOT_SENT
#: Entries of the journal that the page shows.
ENTRIES = 60


def known_job(uid: UUID) -> Job:
    """A vendor job with its service, vendor and terms, or 404."""
    rows = Job.objects.select_related(
        "service__vendor__terms", "redo_of__service__vendor", "came_from__service__vendor"
    )
    job = rows.filter(uid=uid).first()
    if job is None:
        raise Http404
    return job


@dataclass(slots=True)
class Shown:
    """A vendor job as its page shows it."""

    job: Job
    stands: Stands
    lines: Sequence[Line]
    terms: Terms | None
    tags: Mapping[int, str]
    promises: Sequence[Promise]
    charges: Sequence[Charge]
    claims: Sequence[Claim]
    charged: int | None
    book: int | None
    held: list[str] = field(default_factory=list)
    beyond: str = ""
    there: int = 0
    may_join: Sequence[Leaving] = ()
    next_lots: Sequence[Job] = ()
    next_steps: Sequence[Sequence[Step]] = ()
    again: Sequence[Step] = ()
    redone_as: Sequence[Job] = ()

    @property
    def open(self) -> list[Line]:
        """What is in the lot, or out with it."""
        return [line for line in self.lines if line.outcome == OPEN]

    @property
    def to_come(self) -> list[Line]:
        """What can be counted in: what is out, and what was lost and may turn up."""
        return [line for line in self.lines if line.outcome in {OPEN, LOST}]

    @property
    def settled(self) -> list[Line]:
        """What came of the other lines."""
        return [line for line in self.lines if line.outcome != OPEN]

    @property
    def promise(self) -> Promise | None:
        """The day we were told last."""
        return self.promises[-1] if self.promises else None

    @property
    def planned(self) -> bool:
        """Whether it can still be changed, sent or cancelled."""
        return self.stands in {Stands.PLANNED, Stands.READY}


def shown(job: Job, *, now: datetime) -> Shown:
    """In a constant number of queries for each bike that has something in the lot."""
    lines = list(lines_of(job))
    going = [line for line in lines if line.outcome == OPEN]
    found = Shown(
        job=job,
        stands=stands(job),
        lines=lines,
        terms=terms(job),
        tags=_tags(going) if job.sent_on is None else {},
        promises=list(job.promises.all()),
        charges=list(job.charges.select_related("reversed_by")),
        claims=list(Claim.objects.filter(line__job=job).select_related("line__step__part")),
        charged=charged(job),
        book=by_the_book(job.service, [line.step for line in going], on=timezone.localdate(now)) if going else None,
    )
    if found.planned:
        _before_it_leaves(found, now)
    elif found.stands is Stands.OUT:
        found.next_lots = list(next_lots(job))
        found.next_steps = next_steps(found.open)
    if job.sent_on is not None:
        found.again = [line.step for line in vendor_work.rejected(job)]
        found.redone_as = list(job.redone_as.filter(cancelled_at__isnull=True))
    return found


def lines_of(job: Job) -> QuerySet[Line]:
    """Lines with all that a page and a dispatch note say of them; what was left out before it went is not there."""
    rows = job.lines.exclude(outcome=NOT_SENT, job__sent_on__isnull=True)
    return rows.select_related(
        "step__part__restoration__machine",
        "step__part__restoration__customer",
        "step__part__size_class",
        "step__part__agreed_finish",
        "step__service__vendor",
        "photograph",
        "outcome_photograph",
    ).order_by("step__part__restoration", "step__part__position", "pk")


def terms(job: Job) -> Terms | None:
    """What stands between us and its vendor; None where nobody set anything."""
    return getattr(job.vendor, "terms", None)


def claimable(job: Job) -> QuerySet[Line]:
    """Lines that went out with it: something may have happened to them there."""
    return lines_of(job).exclude(outcome=NOT_SENT)


def _tags(lines: Sequence[Line]) -> dict[int, str]:
    """Part to the numbers on the tags that hang on it now, as they are read aloud, and where they are."""
    found = custody.of_parts([line.step.part_id for line in lines])
    return {part: ", ".join(_tag(one) for one in tags) for part, tags in found.items()}


def _tag(one: custody.Where) -> str:
    code = tag_codes.spaced(one.tag.code)
    return f"{code} ({one.place})" if one.place else code


def _before_it_leaves(found: Shown, now: datetime) -> None:
    job, going = found.job, found.open
    found.held = why_not(job, going, now=now)
    found.stands = stands(job, ready=not found.held)
    found.there = value_there(job.vendor)
    beyond = beyond_insured(job, going)
    if beyond:
        code = currency.code()
        told = {"vendor": job.vendor, "beyond": money(from_minor(beyond, digits=places(code)), code)}
        said = _(
            "With this lot %(vendor)s holds %(beyond)s more than it is insured for. It goes only with a name to it."
        )
        found.beyond = said % told
    found.may_join = joinable(job, board(now=now).may_leave)


def next_lots(job: Job) -> QuerySet[Job]:
    """Planned lots for what is out with this one: where it can go straight on to."""
    parts = job.lines.filter(outcome=OPEN).values("step__part")
    rows = Job.objects.filter(sent_on__isnull=True, cancelled_at__isnull=True, lines__step__part__in=parts)
    return rows.filter(lines__outcome=OPEN).exclude(pk=job.pk).distinct().select_related("service__vendor")


def next_steps(out: Sequence[Line]) -> list[list[Step]]:
    """Vendor work that comes next for what is out and is in no lot yet, put together where it may share one. Three queries."""
    after = following(line.step for line in out)
    wanted = [after[line.step_id] for line in out if line.step_id in after and after[line.step_id].service_id]
    rows = Step.objects.filter(pk__in=[step.pk for step in wanted]).select_related("part", "service__vendor")
    agreed = Authorisation.objects.filter(step_uid=OuterRef("uid"))
    planned = Line.objects.filter(step=OuterRef("pk"), outcome=OPEN)
    groups: dict[tuple[object, ...], list[Step]] = {}
    for step in rows.filter(Exists(agreed), ~Exists(planned)).order_by("part__position", "pk"):
        groups.setdefault(kind_of_lot(step), []).append(step)
    return list(groups.values())


def entries(job: Job) -> QuerySet[Entry]:
    """What happened to it, the newest first."""
    return Entry.objects.filter(subject_type=Job._meta.label_lower, subject_uid=job.uid).order_by("-pk")[:ENTRIES]
