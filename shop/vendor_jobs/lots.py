"""A lot before it leaves: what may go together, what goes, what the vendor is told, what was agreed."""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.journal.services import record, subject_of
from shop.journal.telling import told
from shop.people.models import Shop
from shop.restorations.services import hold_scope
from shop.routes.models import Authorisation, Away, Done, Step
from shop.routes.splitting import split_part
from shop.vendor_jobs import wording
from shop.vendor_jobs.models import Job, Line
from shop.vendor_jobs.prices import by_the_book, charged

#: What of a job may be changed until it leaves.
WORDS = ("masking", "finish_words", "note", "carried_by", "leave_on")
AGREED = ("agreed_minor", "agreed_status", "agreed_by", "agreed_on")
GRAM = Decimal("0.001")
LINE_WORDS = ("weight", "tags", "replacement_minor", "irreplaceable", "photograph")


def kind_of_lot(step: Step) -> tuple[object, ...]:
    """Steps of one kind may share a lot: one service, one material, and one finish where the step puts it on.

    Common practice: unlike materials never share a blasting, stripping or plating lot, nor two colours a coating one.
    """
    part = step.part
    finish = part.agreed_finish_id if step.origin == Step.Origin.FINISH else None
    return step.service_id, part.material, finish


@transaction.atomic
def plan_lot(
    *, steps: Sequence[Step], leave_on: date | None = None, redo_of: Job | None = None, who: str, now: datetime
) -> Job:
    """A new vendor job for ``steps``, which all go to one service. Its price begins as the rate book has it.

    Raises a `ValidationError` at ``steps`` for what cannot go, or cannot go together.
    """
    if not steps:
        raise ValidationError({"steps": _("Choose what goes out.")})
    rows = _held(steps)
    _refuse_unlike(rows)
    for step in rows:
        _refuse_not_to_go(step)
    service = rows[0].service
    assert service is not None
    agreed = by_the_book(service, rows, on=timezone.localdate(now))
    if redo_of is not None and _is_free(redo_of):
        agreed = 0
    job = Job(
        number=_next_number(),
        service=service,
        redo_of=redo_of,
        masking=wording.masking(rows),
        finish_words=wording.finish(rows[0]),
        agreed_minor=agreed,
        leave_on=leave_on,
        made_at=now,
        made_by=who,
    )
    job.full_clean(exclude={"service", "redo_of"})
    job.save(force_insert=True)
    for step in rows:
        _add(job, step)
    after = {"lot": str(job), "service": str(service), "vendor": str(service.vendor), "parts": _names(rows)}
    record(who=who, at=now, what="lot planned", subject=subject_of(job), after=after)
    return job


def _is_free(job: Job) -> bool:
    terms = getattr(job.vendor, "terms", None)
    return terms is None or terms.redo_free


def _held(steps: Sequence[Step]) -> list[Step]:
    """The steps as they stand, their bikes held so that nobody changes them meanwhile."""
    for pk in sorted({step.part.restoration_id for step in steps}):
        hold_scope(pk)
    rows = Step.objects.select_related(
        "part__restoration__machine", "part__size_class", "part__agreed_finish", "service__vendor__terms"
    )
    return list(rows.filter(pk__in=[step.pk for step in steps]).order_by("part__position", "position", "pk"))


def _refuse_unlike(steps: Sequence[Step]) -> None:
    first, *others = steps
    for step in others:
        if step.service_id != first.service_id:
            said = _("“%(step)s” of %(part)s goes to another service. Make a lot of its own for it.")
            raise ValidationError({"steps": said % {"step": step, "part": step.part}}, code="another service")
        if step.part.material != first.part.material:
            said = _("%(part)s is of %(material)s, and %(first)s is not: unlike materials never share a lot. Make two.")
            named = {"part": step.part, "material": step.part.get_material_display().lower(), "first": first.part}
            raise ValidationError({"steps": said % named}, code="unlike")
        if kind_of_lot(step) != kind_of_lot(first):
            said = _("%(part)s is to be finished otherwise than %(first)s. Make two lots.")
            raise ValidationError({"steps": said % {"part": step.part, "first": first.part}}, code="unlike")


def _refuse_not_to_go(step: Step) -> None:
    told = {"step": step, "part": step.part}
    if step.service_id is None:
        raise ValidationError({"steps": _("“%(step)s” of %(part)s is no vendor work.") % told}, code="no vendor work")
    if step.removed_at is not None or step.part.removed_at is not None:
        raise ValidationError({"steps": _("“%(step)s” of %(part)s is off the route by now.") % told}, code="gone")
    if not Authorisation.objects.filter(step_uid=step.uid).exists():
        said = _("The customer has not agreed to “%(step)s” of %(part)s yet.")
        raise ValidationError({"steps": said % told}, code="not authorised")
    if Done.objects.filter(step=step, visit=step.visit, undone_at__isnull=True).exists():
        raise ValidationError({"steps": _("“%(step)s” of %(part)s is done already.") % told}, code="done")
    if Away.objects.filter(step=step, ended_on__isnull=True).exists():
        raise ValidationError({"steps": _("“%(step)s” of %(part)s is out already.") % told}, code="out")
    line = Line.objects.filter(step=step, outcome=Line.Outcome.OPEN).select_related("job").first()
    if line is not None:
        said = _("“%(step)s” of %(part)s goes with %(job)s already. Take it out there first.")
        raise ValidationError({"steps": said % (told | {"job": line.job})}, code="planned")


def _next_number() -> int:
    """Held by the one row of the shop, so that two lots made at once get two numbers."""
    Shop.objects.select_for_update().first()
    return (Job.objects.aggregate(last=Max("number"))["last"] or 0) + 1


def _add(job: Job, step: Step) -> Line:
    part = step.part
    return Line.objects.create(job=job, step=step, visit=step.visit, pieces=part.pieces, weight=wording.weight(part))


def _names(steps: Collection[Step]) -> str:
    return ", ".join(str(step.part) for step in steps)


@transaction.atomic
def add_to_lot(*, job: Job, steps: Sequence[Step], who: str, now: datetime) -> Job:
    """Let more steps go with a lot that has not left; the price is the rate book's again unless somebody agreed on one."""
    job = hold_planned(job)
    rows = _held(steps)
    others = [line.step for line in job.lines.filter(outcome=Line.Outcome.OPEN).select_related("step__part")]
    _refuse_unlike([*others, *rows])
    for step in rows:
        _refuse_not_to_go(step)
        _add(job, step)
    _priced_anew(job, now=now)
    record(who=who, at=now, what="added to a lot", subject=subject_of(job), after={"parts": _names(rows)})
    return job


@transaction.atomic
def take_out_of_lot(*, line: Line, who: str, now: datetime) -> Job:
    """Leave something behind before the lot leaves. A lot of nothing is cancelled."""
    job = hold_planned(line.job)
    line = Line.objects.select_related("step__part").get(pk=line.pk)
    if line.outcome != Line.Outcome.OPEN:
        return job
    settle(line, Line.Outcome.NOT_SENT, who=who, now=now)
    record(who=who, at=now, what="left out of a lot", subject=subject_of(job), before={"parts": str(line.step.part)})
    if not job.lines.filter(outcome=Line.Outcome.OPEN).exists():
        return cancel_lot(job=job, who=who, now=now)
    _priced_anew(job, now=now)
    return job


@transaction.atomic
def leave_behind(*, line: Line, pieces: int, who: str, now: datetime) -> Line:
    """Let ``pieces`` of a line stay here; they become a part of their own, which may go with another lot.

    All of them is leaving the line out. Raises at ``pieces``.
    """
    job = hold_planned(line.job)
    line = Line.objects.select_related("step__part__restoration").get(pk=line.pk)
    told = {"part": line.step.part, "pieces": line.pieces}
    if line.outcome != Line.Outcome.OPEN or not 0 <= pieces <= line.pieces:
        said = _("%(part)s is %(pieces)s pieces in this lot. Look at the page again.") % told
        raise ValidationError({"pieces": said}, code="pieces")
    if pieces == line.pieces:
        take_out_of_lot(line=line, who=who, now=now)
    if pieces in (0, line.pieces):
        return line
    if line.pieces != line.step.part.pieces:
        said = _("%(part)s was %(pieces)s pieces when the lot was made and is not now. Take it out, and add it anew.")
        raise ValidationError({"pieces": said % told}, code="pieces")
    goes = line.pieces - pieces
    split_part(part=line.step.part, pieces=pieces, who=who, now=now)
    if line.weight is not None:
        line.weight = (line.weight * goes / line.pieces).quantize(GRAM)
    if line.replacement_minor is not None:
        line.replacement_minor -= line.replacement_minor * pieces // line.pieces
    line.pieces = goes
    line.save(update_fields=["pieces", "weight", "replacement_minor"])
    line.step.part.refresh_from_db()
    _priced_anew(job, now=now)
    before = {"parts": f"{line.step.part} ({goes + pieces})"}
    after = {"parts": f"{line.step.part} ({goes})"}
    record(who=who, at=now, what="left out of a lot", subject=subject_of(job), before=before, after=after)
    return line


def settle(line: Line, outcome: str, *, who: str, now: datetime) -> None:
    """Write what came of a line before it left."""
    line.outcome, line.settled_at, line.settled_by = outcome, now, who
    line.save(update_fields=["outcome", "settled_at", "settled_by"])


def _priced_anew(job: Job, *, now: datetime) -> None:
    if job.agreed_by or job.redo_of_id:
        return
    steps = [line.step for line in job.lines.filter(outcome=Line.Outcome.OPEN).select_related("step__part__size_class")]
    job.agreed_minor = by_the_book(job.service, steps, on=timezone.localdate(now))
    job.save(update_fields=["agreed_minor"])


def hold(job: Job) -> Job:
    """The job as it stands, its bikes held."""
    for pk in sorted(set(job.lines.values_list("step__part__restoration", flat=True))):
        hold_scope(pk)
    return Job.objects.select_related("service__vendor").select_for_update(of=("self",)).get(pk=job.pk)


def hold_planned(job: Job) -> Job:
    """The job as it stands, its bikes held; refused once it has left or was cancelled."""
    job = hold(job)
    if job.cancelled_at is not None:
        raise ValidationError(_("%(job)s was cancelled. Make a new lot.") % {"job": job}, code="cancelled")
    if job.sent_on is not None:
        said = _("%(job)s has left already. What is different now is noted when it is back.") % {"job": job}
        raise ValidationError(said, code="sent")
    return job


@transaction.atomic
def cancel_lot(*, job: Job, who: str, now: datetime) -> Job:
    """The lot does not go: its steps are free for another."""
    job = hold_planned(job)
    for line in job.lines.filter(outcome=Line.Outcome.OPEN):
        settle(line, Line.Outcome.NOT_SENT, who=who, now=now)
    job.cancelled_at, job.cancelled_by = now, who
    job.save(update_fields=["cancelled_at", "cancelled_by"])
    record(who=who, at=now, what="lot cancelled", subject=subject_of(job), before={"lot": str(job)})
    return job


@transaction.atomic
def change_lot(*, job: Job, who: str, now: datetime, **fields: Any) -> Job:
    """Change what the vendor is told or what was agreed (`WORDS`, `AGREED`) before it leaves; raises at the field."""
    job = hold_planned(job)
    return _changed(job, fields, {*WORDS, *AGREED}, what="lot changed", who=who, now=now)


@transaction.atomic
def agree_price(*, job: Job, who: str, now: datetime, **fields: Any) -> Job:
    """Note what was agreed (`AGREED`), also after it left and until the charge is in."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.cancelled_at is not None:
        raise ValidationError(_("%(job)s was cancelled. Make a new lot.") % {"job": job}, code="cancelled")
    if charged(job) is not None:
        raise ValidationError(_("The charge is in already: that is what it costs."), code="charged")
    return _changed(job, fields, set(AGREED), what="price agreed with a vendor", who=who, now=now)


def _changed(job: Job, fields: dict[str, Any], allowed: set[str], *, what: str, who: str, now: datetime) -> Job:
    if unknown := set(fields) - allowed:
        raise TypeError(f"cannot change {', '.join(sorted(unknown))} here")
    before = {name: getattr(job, name) for name in fields}
    for name, value in fields.items():
        setattr(job, name, value.strip() if isinstance(value, str) else value)
    job.full_clean(exclude={"service", "redo_of", "came_from"})
    job.save(update_fields=list(fields))
    after = {name: getattr(job, name) for name in fields}
    record(who=who, at=now, what=what, subject=subject_of(job), before=told(before), after=told(after))
    return job


@transaction.atomic
def change_line(*, line: Line, who: str, now: datetime, **fields: Any) -> Line:
    """Change what goes with a line before it leaves: `LINE_WORDS`. Raises at the field."""
    if unknown := set(fields) - set(LINE_WORDS):
        raise TypeError(f"cannot change {', '.join(sorted(unknown))} here")
    job = hold_planned(line.job)
    line = Line.objects.select_related("step__part").get(pk=line.pk)
    before = {name: getattr(line, name) for name in fields}
    for name, value in fields.items():
        setattr(line, name, value)
    line.full_clean(exclude={"job", "step", "split_from"})
    line.save(update_fields=list(fields))
    after = {name: getattr(line, name) for name in fields}
    if after != before:
        part = {"part": str(line.step.part)}
        what = "line of a lot changed"
        record(who=who, at=now, what=what, subject=subject_of(job), before=told(before), after=told(after) | part)
    return line
