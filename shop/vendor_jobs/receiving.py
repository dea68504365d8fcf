"""A lot comes back: counted in and looked at, all of it or some, good or not; lost and found; straight on to the next vendor."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.papers.models import Photograph
from shop.routes.finishing import finish_step, undo_done
from shop.routes.models import Away, Step
from shop.routes.splitting import split_part
from shop.vendor_jobs.claims import ask
from shop.vendor_jobs.lots import GRAM, hold
from shop.vendor_jobs.models import Job, Line
from shop.vendor_jobs.sending import Told, open_lines, send_out

Outcome = Line.Outcome
#: Whoever looked, in the order in which pieces are told apart.
LOOKED = (Outcome.GOOD, Outcome.REJECTED, Outcome.DAMAGED, Outcome.LOST)
#: What a claim is made for.
CLAIMED = (Outcome.REJECTED, Outcome.DAMAGED, Outcome.LOST)


@dataclass(frozen=True, slots=True)
class Arrival:
    """What came of the pieces of a line; those in none of the counts are still out."""

    line: Line
    good: int = 0
    rejected: int = 0
    damaged: int = 0
    lost: int = 0
    note: str = ""
    photograph: Photograph | None = None

    @property
    def counts(self) -> dict[Outcome, int]:
        """Pieces by outcome, without those of which there are none."""
        every = (self.good, self.rejected, self.damaged, self.lost)
        return {outcome: count for outcome, count in zip(LOOKED, every, strict=True) if count}


@dataclass(slots=True)
class Received:
    """What came of an arrival: lines by outcome, and the steps that became ready."""

    lines: list[Line] = field(default_factory=list)
    ready: list[Step] = field(default_factory=list)


@transaction.atomic
def receive(*, job: Job, arrivals: Sequence[Arrival], on: date, looked_by: str, who: str, now: datetime) -> Received:
    """Count in what came of a lot on a day, and say how it is; ``looked_by`` counted and looked at it.

    Pieces that fare differently become parts of their own. What is good is done; what was rejected or damaged is here
    again and open; what is lost stays out without a day until it turns up or the claim is settled. Raises a
    `ValidationError` at the field, or with all that cannot be.
    """
    job = _hold_out(job)
    _refuse_wrong(job, arrivals, on, looked_by, now=now)
    found = Received()
    for arrival in arrivals:
        if arrival.counts:
            for line in _settled(arrival, on=on, looked_by=looked_by, who=who, now=now):
                found.lines.append(line)
                found.ready += _carried_out(line, on=on, who=who, now=now)
    _close(job, on=on)
    done = {line.step_id for line in found.lines if line.outcome == Outcome.GOOD}
    found.ready = list({step.pk: step for step in found.ready if step.pk not in done}.values())
    after = {"on": on, "looked at by": looked_by, **_told(found.lines)}
    record(who=who, at=now, what="lot came back", subject=subject_of(job), after=after)
    return found


def _hold_out(job: Job) -> Job:
    job = hold(job)
    if job.sent_on is None:
        raise ValidationError(_("%(job)s has not left yet.") % {"job": job}, code="not out")
    return job


def _refuse_wrong(job: Job, arrivals: Sequence[Arrival], on: date, looked_by: str, *, now: datetime) -> None:
    assert job.sent_on is not None
    if on < job.sent_on:
        raise ValidationError({"on": _("That is before it left. Give the day on which it came.")}, code="before")
    if on > timezone.localdate(now):
        raise ValidationError({"on": _("That day is still to come. Count it in when it is here.")}, code="to come")
    if not looked_by.strip():
        raise ValidationError({"looked_by": _("Say who counted and looked at it.")})
    if not any(arrival.counts for arrival in arrivals):
        raise ValidationError(
            _("Nothing is counted in. Say how many pieces came, or that they are lost."), code="nothing"
        )
    for arrival in arrivals:
        _refuse_count(job, arrival)


def _refuse_count(job: Job, arrival: Arrival) -> None:
    line = Line.objects.select_related("step__part").get(pk=arrival.line.pk)
    told = {"part": line.step.part, "pieces": line.pieces}
    if line.job_id != job.pk or line.outcome not in {Outcome.OPEN, Outcome.LOST}:
        raise ValidationError(_("%(part)s was counted in already. Look at the page again.") % told, code="counted")
    if min((arrival.good, arrival.rejected, arrival.damaged, arrival.lost)) < 0:
        raise ValidationError(_("A count of %(part)s is negative. Give 0 or more pieces.") % told, code="count")
    if sum(arrival.counts.values()) > line.pieces:
        said = _("%(pieces)s of %(part)s went out, and more are counted in. Count again.")
        raise ValidationError(said % told, code="count")
    if line.outcome == Outcome.LOST and arrival.lost:
        raise ValidationError(_("%(part)s is lost already. Count in only what turned up.") % told, code="lost")
    if any(outcome in arrival.counts for outcome in CLAIMED) and not arrival.note.strip():
        said = _("Say what is wrong with %(part)s: it is what the vendor is asked about.")
        raise ValidationError(said % told, code="note")


def _settled(arrival: Arrival, *, on: date, looked_by: str, who: str, now: datetime) -> Iterable[Line]:
    """The lines of an arrival by outcome. The first takes the line itself, pieces that fare otherwise are split off."""
    line = Line.objects.select_related("step__part__restoration", "step__service", "job").get(pk=arrival.line.pk)
    groups = list(arrival.counts.items())
    rest = line.pieces - sum(count for _outcome, count in groups)
    if rest:
        groups.append((Outcome(line.outcome), rest))
    for outcome, count in groups[1:]:
        other = _split_off(line, count, who=who, now=now)
        if outcome != Outcome(line.outcome):
            yield _written(other, outcome, arrival, on=on, looked_by=looked_by, who=who, now=now)
    yield _written(line, groups[0][0], arrival, on=on, looked_by=looked_by, who=who, now=now)


def _split_off(line: Line, pieces: int, *, who: str, now: datetime) -> Line:
    """``pieces`` of a line as a line of their own, on a part of their own that is out as well."""
    part = split_part(part=line.step.part, pieces=pieces, who=who, now=now)
    origin = line.step.split_from_id or line.step_id
    step = Step.objects.select_related("part__restoration", "service").get(part=part, split_from=origin)
    away = Away.objects.get(step=line.step, ended_on__isnull=True)
    Away.objects.create(
        step=step,
        visit=away.visit,
        where=away.where,
        since=away.since,
        due_on=away.due_on,
        lost=away.lost,
        changed_at=now,
    )
    value = None if line.replacement_minor is None else line.replacement_minor * pieces // line.pieces
    weight = None if line.weight is None else (line.weight * pieces / line.pieces).quantize(GRAM)
    other = Line.objects.create(
        job=line.job,
        step=step,
        visit=line.visit,
        pieces=pieces,
        weight=weight,
        tags=line.tags,
        replacement_minor=value,
        irreplaceable=line.irreplaceable,
        photograph=line.photograph,
        split_from=line,
        **_as_lost(line),
    )
    line.pieces -= pieces
    if value is not None and line.replacement_minor is not None:
        line.replacement_minor -= value
    if weight is not None and line.weight is not None:
        line.weight -= weight
    line.save(update_fields=["pieces", "replacement_minor", "weight"])
    line.step.refresh_from_db()
    return other


def _as_lost(line: Line) -> dict[str, object]:
    """What a line that is lost already keeps when some of it turns up."""
    if line.outcome == Outcome.OPEN:
        return {}
    kept = ("outcome", "back_on", "looked_by", "outcome_note", "settled_at", "settled_by")
    return {name: getattr(line, name) for name in kept}


def _written(
    line: Line, outcome: Outcome, arrival: Arrival, *, on: date, looked_by: str, who: str, now: datetime
) -> Line:
    line.back_on, line.looked_by, line.outcome_note = on, looked_by.strip(), arrival.note.strip()
    line.outcome_photograph = arrival.photograph
    line.outcome = outcome
    line.settled_at, line.settled_by = now, who
    line.full_clean(exclude={"job", "step", "split_from", "photograph"})
    line.save()
    return line


def _carried_out(line: Line, *, on: date, who: str, now: datetime) -> list[Step]:
    """What the outcome means for the route; the steps that became ready."""
    away = Away.objects.get(step_id=line.step_id, ended_on__isnull=True)
    away.changed_at = now
    if line.outcome == Outcome.LOST:
        away.lost, away.due_on = True, None
    else:
        away.ended_on, away.lost = on, False
    away.save(update_fields=["changed_at", "lost", "due_on", "ended_on"])
    if line.outcome in CLAIMED:
        ask(line=line, words=line.outcome_note, who=who, now=now)
    if line.outcome != Outcome.GOOD:
        return []
    return finish_step(step=line.step, who=who, now=now)


def _close(job: Job, *, on: date) -> None:
    """A lot is back once nothing of it is open; what is lost keeps nothing open."""
    if job.lines.filter(outcome=Outcome.OPEN).exists():
        return
    job.back_on = max(on, job.back_on or on)
    job.save(update_fields=["back_on"])


def _told(lines: Sequence[Line]) -> dict[str, object]:
    found: dict[str, list[str]] = {}
    for line in lines:
        found.setdefault(str(line.outcome), []).append(f"{line.step.part} ({line.pieces})")
    return {outcome: ", ".join(names) for outcome, names in found.items()}


@transaction.atomic
def pass_on(
    *,
    job: Job,
    to: Job,
    on: date,
    said_by: str,
    told: Told | None = None,
    tags: Mapping[int, str] | None = None,
    who: str,
    now: datetime,
) -> Job:
    """A lot goes straight on from its vendor to the next one: done at the first, out at the second, on one day.

    We did not look at it: ``said_by`` told us that it is as it should be, and stands where otherwise who looked does.
    """
    job = _hold_out(job)
    lines = open_lines(job)
    following = {line.step.part_id for line in open_lines(to)}
    going = [line for line in lines if line.step.part_id in following]
    if not going or following - {line.step.part_id for line in going}:
        said = _("Not everything in %(to)s is at %(vendor)s. Only what is there can go straight on.")
        raise ValidationError(said % {"to": to, "vendor": job.vendor}, code="not there")
    arrivals = [Arrival(line, good=line.pieces) for line in going]
    receive(job=job, arrivals=arrivals, on=on, looked_by=said_by, who=who, now=now)
    Line.objects.filter(pk__in=[line.pk for line in going]).update(straight_on=True)
    to.came_from = job
    to.save(update_fields=["came_from"])
    carried = _("straight on from %(vendor)s") % {"vendor": job.vendor}
    return send_out(job=to, on=on, told=told, carried_by=carried[:120], tags=tags, who=who, now=now)


@transaction.atomic
def take_back_arrival(*, line: Line, who: str, now: datetime) -> Line:
    """What was said of a line was a slip: it is out again, as before. On the same day, and only while nothing followed.

    The claim that it made goes with it; one that somebody made by hand stands.
    """
    job = _hold_out(line.job)
    line = Line.objects.select_related("step__part__restoration", "step__service").get(pk=line.pk)
    if line.outcome in {Outcome.OPEN, Outcome.NOT_SENT}:
        return line
    assert line.settled_at is not None
    if timezone.localdate(line.settled_at) != timezone.localdate(now):
        said = _("That was said on another day. Note what is different now: do it again, or make a claim.")
        raise ValidationError(said, code="another day")
    if Line.objects.filter(step=line.step, outcome=Outcome.OPEN).exists():
        raise ValidationError(_("It is in another lot by now. Take it out there first."), code="elsewhere")
    if line.claims.filter(settled_at__isnull=False).exists():
        raise ValidationError(_("Its claim is settled already."), code="settled")
    if line.outcome == Outcome.GOOD:
        undo_done(step=line.step, who=who, now=now)
    before = {"came back": str(Outcome(line.outcome).label), "parts": str(line.step.part)}
    line.claims.filter(made_at=line.settled_at).delete()  # what was said by itself; a claim made by hand stands
    _out_again(job, line, now=now)
    job.back_on = None
    job.save(update_fields=["back_on"])
    record(who=who, at=now, what="arrival taken back", subject=subject_of(job), before=before)
    return line


def _out_again(job: Job, line: Line, *, now: datetime) -> None:
    promise = job.promises.last()
    away = Away.objects.filter(step=line.step, visit=line.visit).order_by("pk").last()
    assert away is not None, "what was counted in was out"
    away.ended_on, away.lost, away.changed_at = None, False, now
    away.due_on = promise.due_on if promise else None
    away.save(update_fields=["ended_on", "lost", "due_on", "changed_at"])
    line.outcome, line.back_on, line.looked_by, line.outcome_note = Outcome.OPEN, None, "", ""
    line.outcome_photograph, line.settled_at, line.settled_by, line.straight_on = None, None, "", False
    line.save()
