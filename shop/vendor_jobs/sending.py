"""A lot leaves: once, whole, and only where nothing holds it back."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from quotes.engine.money import from_minor, places
from quotes.engine.remarks import of_plating
from shop import currency
from shop.journal.services import record, subject_of
from shop.methods.models import Vendor
from shop.rates.models import Status
from shop.routes import funding
from shop.routes.models import Away, Step
from shop.routes.progress import States, states_of
from shop.routes.selectors import as_measured
from shop.text import money
from shop.vendor_jobs.lots import hold_planned
from shop.vendor_jobs.models import Job, Line, Promise, Terms

SIXTY = Decimal(60)


@dataclass(frozen=True, slots=True)
class Told:
    """A day somebody told us, and how we know it."""

    due_on: date
    status: str = Status.PHONED
    said_by: str = ""


@dataclass(frozen=True, slots=True)
class LetGo:
    """Who puts a name to sending more than the vendor is insured for, and why."""

    who: str = ""
    why: str = ""


@transaction.atomic
def send_out(
    *,
    job: Job,
    on: date,
    told: Told | None = None,
    carried_by: str = "",
    let_go: LetGo | None = None,
    tags: Mapping[int, str] | None = None,
    who: str,
    now: datetime,
) -> Job:
    """The lot is out since ``on``. All of it, or a `ValidationError` with everything that holds it back.

    ``tags`` says for a part, by its key, the numbers on the tags that hang on it as it leaves.
    """
    job = hold_planned(job)
    lines = open_lines(job)
    _refuse_day(on, told, now=now)
    held = why_not(job, lines, now=now)
    if held:
        raise ValidationError([ValidationError(said, code="held") for said in held])
    funding.refuse_unfunded(
        steps=[line.step for line in lines], out=funding.gone_of(line.step for line in lines), now=now
    )
    _refuse_uninsured(job, lines, let_go or LetGo())
    job.sent_on, job.sent_at, job.sent_by, job.carried_by = on, now, who, carried_by.strip()
    job.full_clean(exclude={"service", "redo_of", "came_from"})
    job.save(update_fields=["sent_on", "sent_at", "sent_by", "carried_by", "let_go_by", "let_go_why"])
    for line in lines:
        line.tags = (tags or {}).get(line.step.part_id, line.tags)
        line.save(update_fields=["tags"])
    if told is not None:
        _write_promise(job, told, told_on=on, who=who, now=now)
    due = told.due_on if told else None
    where = str(job.vendor)
    Away.objects.bulk_create(
        Away(step=line.step, visit=line.visit, where=where, since=on, due_on=due, changed_at=now) for line in lines
    )
    after = {
        "out since": on,
        "vendor": where,
        "due back": due,
        "parts": ", ".join(str(line.step.part) for line in lines),
    }
    record(who=who, at=now, what="lot sent out", subject=subject_of(job), after=after)
    return job


def open_lines(job: Job) -> list[Line]:
    """What of a job has no outcome yet, with its steps, parts and bikes."""
    rows = job.lines.filter(outcome=Line.Outcome.OPEN).select_related(
        "step__part__restoration__machine", "step__part__size_class", "step__service__vendor", "photograph"
    )
    return list(rows)


def _refuse_day(on: date, told: Told | None, *, now: datetime) -> None:
    if on > timezone.localdate(now):
        raise ValidationError({"on": _("That day is still to come. Say that it left when it has.")}, code="to come")
    if told is not None and told.due_on < on:
        raise ValidationError({"due_on": _("It cannot be back before it leaves. Give a later day.")}, code="before")


def why_not(job: Job, lines: Sequence[Line], *, now: datetime) -> list[str]:
    """Sentences that say what holds a lot back. So many queries for each bike."""
    return held_back([(job, lines)], now=now)[job.pk]


def held_back(lots: Collection[tuple[Job, Sequence[Line]]], *, now: datetime) -> dict[int, list[str]]:
    """Job to what holds it back, in sentences; so many queries for each bike, however many lots and lines there are."""
    bikes = {line.step.part.restoration_id: line.step.part.restoration for _job, lines in lots for line in lines}
    known = {pk: states_of(bike, now=now) for pk, bike in bikes.items()}
    after = following(line.step for job, lines in lots if job.service.plates for line in lines)
    return {job.pk: list(_held(job, lines, known, after)) for job, lines in lots}


def _held(job: Job, lines: Sequence[Line], known: Mapping[int, States], after: Mapping[int, Step]) -> Iterable[str]:
    if not lines:
        yield _("There is nothing in this lot. Add what goes.")
    for line in lines:
        yield from of_line(line, known[line.step.part.restoration_id])
    if job.service.plates:
        for line in lines:
            yield from of_plating_line(line.step, after.get(line.step_id))


def following(steps: Iterable[Step]) -> dict[int, Step]:
    """Step to the one that comes next on the route of its part. One query, none for none."""
    wanted = list(steps)
    if not wanted:
        return {}
    routes = Step.objects.filter(part__in={step.part_id for step in wanted}, removed_at__isnull=True)
    rows = list(routes.select_related("operation", "service").order_by("part", "position"))
    found = {}
    for step in wanted:
        after = (row for row in rows if row.part_id == step.part_id and row.position > step.position)
        if (next_one := next(after, None)) is not None:
            found[step.pk] = next_one
    return found


def of_line(line: Line, states: States) -> Iterable[str]:
    """What holds back a line of a lot, as its step stands; no query."""
    state, part = states.get(line.step_id), line.step.part
    if state is None:
        yield _("%(part)s is off the route by now. Take it out of the lot.") % {"part": part}
    elif state.is_done:
        yield _("%(part)s is done already. Take it out of the lot.") % {"part": part}
    elif line.visit != line.step.visit:
        yield _("%(part)s goes round again since the lot was made. Take it out, and plan it anew.") % {"part": part}
    elif not state.is_ready:
        yield f"{part}: {' '.join(state.sentences)}"
    elif line.pieces != part.pieces:
        told = {"part": part, "pieces": line.pieces, "now": part.pieces}
        yield (
            _("%(part)s was %(pieces)s pieces when the lot was made and is %(now)s now. Take it out, and add it anew.")
            % told
        )


def of_plating_line(step: Step, following: Step | None) -> Iterable[str]:
    """What speaks against electroplating the part: refused first, then the bake that has to follow."""
    baked = step.service.bake_hours if step.service else Decimal(0)
    if following is not None and following.operation is not None and following.operation.bakes:
        baked = max(baked, following.operation.elapsed / SIXTY)
    if following is not None and following.service is not None:
        baked = max(baked, following.service.bake_hours)
    for remark in of_plating(*as_measured(step), baked):
        sentence = _(remark.text).format(**dict(remark.values))
        yield f"{step.part}: {sentence}"


def value_there(vendor: Vendor) -> int:
    """What all that is at a vendor costs to have again [minor units]; what nobody valued counts nothing. One query."""
    rows = Line.objects.filter(
        job__service__vendor=vendor, job__sent_on__isnull=False, outcome__in=[Line.Outcome.OPEN, Line.Outcome.LOST]
    )
    found: dict[str, int | None] = rows.aggregate(value=Sum("replacement_minor"))
    return found["value"] or 0


def beyond_insured(job: Job, lines: Sequence[Line]) -> int:
    """By how much what would be there is more than the vendor is insured for [minor units]."""
    terms: Terms | None = getattr(job.vendor, "terms", None)
    if terms is None or terms.insured_minor is None:
        return 0
    together = value_there(job.vendor) + sum(line.replacement_minor or 0 for line in lines)
    return max(together - terms.insured_minor, 0)


def _refuse_uninsured(job: Job, lines: Sequence[Line], let_go: LetGo) -> None:
    beyond = beyond_insured(job, lines)
    if not beyond:
        return
    if not let_go.who.strip() or not let_go.why.strip():
        code = currency.code()
        said = _(
            "With this lot %(vendor)s holds %(beyond)s more than it is insured for. Send less, or let somebody put a name to it."
        )
        shown = money(from_minor(beyond, digits=places(code)), code)
        raise ValidationError({"let_go_by": said % {"vendor": job.vendor, "beyond": shown}}, code="not insured")
    job.let_go_by, job.let_go_why = let_go.who.strip(), let_go.why.strip()


@transaction.atomic
def told_new_day(*, job: Job, told: Told, told_on: date, note: str = "", who: str, now: datetime) -> Promise:
    """The vendor said another day. The one before is kept; the plan moves with it."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.sent_on is None or job.back_on is not None:
        said = _("%(job)s is not out, so there is no day to be told.") % {"job": job}
        raise ValidationError(said, code="not out")
    if told.due_on < job.sent_on:
        raise ValidationError({"due_on": _("That is before it left. Give a later day.")}, code="before")
    if told_on > timezone.localdate(now):
        raise ValidationError({"told_on": _("That day is still to come. Give the day on which they said so.")})
    latest, same = job.promises.last(), (told.due_on, told.status, told.said_by.strip(), told_on)
    if latest is not None and (latest.due_on, latest.status, latest.said_by, latest.told_on) == same:
        return latest
    row = _write_promise(job, told, told_on=told_on, note=note, who=who, now=now)
    steps = job.lines.filter(outcome=Line.Outcome.OPEN).values("step")
    Away.objects.filter(step__in=steps, ended_on__isnull=True, lost=False).update(due_on=told.due_on, changed_at=now)
    before = {"due back": latest.due_on if latest else None}
    after = {"due back": told.due_on, "who said so": told.said_by, "told on": told_on}
    record(who=who, at=now, what="told a new day", subject=subject_of(job), before=before, after=after)
    return row


def _write_promise(job: Job, told: Told, *, told_on: date, note: str = "", who: str, now: datetime) -> Promise:
    row = Promise(
        job=job,
        due_on=told.due_on,
        status=told.status,
        said_by=told.said_by.strip(),
        told_on=told_on,
        note=note.strip(),
        at=now,
        recorded_by=who,
    )
    row.full_clean(exclude={"job"})
    row.save(force_insert=True)
    return row
