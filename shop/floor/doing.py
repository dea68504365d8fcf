"""Done, and to be done again, as it is said on the floor."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shop.floor.checks import answer_check, checks_for, checks_of, known_step, refuse_other_visit
from shop.floor.models import Rework
from shop.journal.services import record, subject_of
from shop.methods.models import Cause, Check, Operation, Service
from shop.papers.models import Photograph
from shop.people.models import User
from shop.restorations.models import Part
from shop.restorations.services import hold_scope
from shop.routes import again as routes_again
from shop.routes.finishing import finish_remedy, finish_step, finish_steps
from shop.routes.models import Done, Remedy, Step, Task
from shop.routes.splitting import split_part
from shop.routes.tasks import open_lines

NOT_CHECKED = "checks"


@transaction.atomic
def done(*, step: Step, person: User, now: datetime, visit: int | None = None) -> list[Step]:
    """Say that a step is done for all its pieces, once all that is looked at is as it should be, or was let pass by name.

    The steps that became ready with it. ``visit`` is the one that the person saw. Done already, nothing changes. Raises a
    `ValidationError` with all that holds it.
    """
    hold_scope(step.part.restoration_id)
    fresh = known_step(step.pk)
    refuse_other_visit(fresh, visit)
    if is_done(fresh):
        return []
    _refuse_unchecked([asked.why for asked in checks_of(fresh)])
    return finish_step(step=fresh, who=person.username, now=now)


def is_done(step: Step) -> bool:
    return Done.objects.filter(step=step, visit=step.visit, undone_at__isnull=True).exists()


def _refuse_unchecked(whys: Iterable[str]) -> None:
    held = [why for why in whys if why]
    if held:
        raise ValidationError([ValidationError(why, code=NOT_CHECKED) for why in held])


@dataclass(frozen=True, slots=True)
class Held:
    """A step that could not be done, and why, in sentences."""

    step: Step
    why: list[str]


@dataclass(slots=True)
class AllDone:
    """What came of saying that a whole task is done. ``ready`` are the steps that somebody can go on with now."""

    done: list[Step] = field(default_factory=list)
    remedies: list[Remedy] = field(default_factory=list)
    ready: list[Step] = field(default_factory=list)
    held: list[Held] = field(default_factory=list)


@transaction.atomic
def done_all(*, task: Task, person: User, now: datetime, lines: Collection[int] | None = None) -> AllDone:
    """Say that the open steps of a task are done, in the order of their routes: what holds one holds no other.

    ``lines`` are those that the person saw, by primary key: what came into the task afterwards is not meant. None means all.
    Work before a redo that is our own is done with it; what a vendor does is done when it is back.
    """
    found = AllDone()
    for bike in sorted({step.part.restoration_id for step in _open_steps(task, lines)}):
        hold_scope(bike)
    for remedy in task.remedies.filter(done_at__isnull=True, operation__isnull=False).select_related("operation"):
        found.ready += finish_remedy(remedy=remedy, who=person.username, now=now)
        found.remedies.append(remedy)
    steps = _open_steps(task, lines)
    asked = {pk: [one.why for one in answers if one.why] for pk, answers in checks_for(steps).items()}
    finished = finish_steps(steps=[step for step in steps if not asked[step.pk]], who=person.username, now=now)
    found.done, found.ready = finished.done, found.ready + finished.ready
    for step in steps:
        why = asked[step.pk] or [said for error in finished.held.get(step.pk, []) for said in error.messages]
        found.held += [Held(step, why)] if why else []
    seen = {step.pk for step in found.done}
    found.ready = [step for step in {one.pk: one for one in found.ready}.values() if step.pk not in seen]
    return found


def _open_steps(task: Task, meant: Collection[int] | None) -> list[Step]:
    lines = open_lines(task).select_related(
        "step__part__restoration__machine", "step__part__agreed_finish", "step__operation", "step__service"
    )
    if meant is not None:
        lines = lines.filter(pk__in=meant)
    return [line.step for line in lines.order_by("step__part__position", "step__part", "step__position")]


@transaction.atomic
def split_short(*, step: Step, check: Check, visit: int, person: User, now: datetime) -> Part:
    """Fewer pieces were counted than the part has: those that are missing become a part of their own, the others go on."""
    hold_scope(step.part.restoration_id)
    fresh = known_step(step.pk)
    refuse_other_visit(fresh, visit)
    asked = next((one for one in checks_of(fresh) if one.check.pk == check.pk), None)
    counted = asked.result.value if asked and asked.is_out and asked.result else None
    if asked is None or check.kind != Check.Kind.COUNT or counted is None or not 0 < counted < fresh.part.pieces:
        said = _("Nothing is missing here by what was counted. Count again.")
        raise ValidationError(said, code="not short")
    if counted != int(counted):
        raise ValidationError(_("Pieces are whole. Count again."), code="not whole")
    new = split_part(part=fresh.part, pieces=fresh.part.pieces - int(counted), who=person.username, now=now)
    answer_check(step=fresh, check=check, visit=visit, value=counted, person=person, now=now)
    return new


@transaction.atomic
def again(
    *,
    uid: UUID,
    step: Step,
    visit: int,
    back_to: Step,
    came_from: Step | None,
    cause: Cause,
    pieces: int,
    apart: bool = False,
    scrapped: int = 0,
    remedies: Sequence[Operation | Service] = (),
    note: str = "",
    photograph: Photograph | None = None,
    person: User,
    now: datetime,
) -> Rework:
    """Say that a step has to be done again, and why: the steps from ``back_to`` on are open anew, in a task of their own.

    ``apart``: only these ``pieces`` go back, as a part of their own; the others go on. ``uid`` is that of the form: sent
    twice, it is kept once. Raises `ValidationError` at the field that is wrong.
    """
    hold_scope(step.part.restoration_id)
    before = Rework.objects.filter(uid=uid).first()
    if before is not None:
        return before
    step = known_step(step.pk)
    refuse_other_visit(step, visit)
    _refuse(step, back_to=back_to, pieces=pieces, scrapped=scrapped, cause=cause)
    _refuse_origin(step, came_from)
    if apart and pieces < step.part.pieces:
        new = split_part(part=step.part, pieces=pieces, who=person.username, now=now)
        copies = {one.split_from_id: one for one in new.steps.filter(removed_at__isnull=True)}
        step, back_to = (known_step(copies[one.split_from_id or one.pk].pk) for one in (step, back_to))
    row = Rework(
        uid=uid,
        step=step,
        visit=step.visit,
        back_to=back_to,
        came_from=came_from,
        cause=cause,
        pieces=pieces,
        scrapped=scrapped,
        note=note.strip(),
        photograph=photograph,
        person=person,
        at=now,
    )
    row.full_clean(exclude={"task"})
    row.task = routes_again.again(step=step, back_to=back_to, remedies=remedies, who=person.username, now=now)
    row.save(force_insert=True)
    record(who=person.username, at=now, what="rework noted", subject=subject_of(step), after=_told(row))
    return row


def _refuse(step: Step, *, back_to: Step, pieces: int, scrapped: int, cause: Cause) -> None:
    if back_to.part_id != step.part_id:
        said = _("It goes back to an earlier step of its own route. Choose one of these.")
        raise ValidationError({"back_to": said}, code="not back")
    if not 0 < pieces <= step.part.pieces:
        said = _("%(part)s has %(pieces)s pieces. Give 1 to that many.")
        raise ValidationError({"pieces": said % {"part": step.part, "pieces": step.part.pieces}}, code="pieces")
    if scrapped > pieces:
        said = _("More pieces are scrapped than came back. Check both numbers.")
        raise ValidationError({"scrapped": said}, code="scrapped")
    if cause.ended:
        raise ValidationError({"cause": _("This cause is not used any more. Choose another one.")}, code="ended")


def _refuse_origin(step: Step, came_from: Step | None) -> None:
    """Where it came from lies before it on its own part, or on another part of the same bike."""
    if came_from is None:
        return
    if came_from.part.restoration_id != step.part.restoration_id:
        raise ValidationError({"came_from": _("That step is of another bike. Choose one of this bike.")}, code="bike")
    if came_from.part_id == step.part_id and came_from.position > step.position:
        said = _("That step comes after this one, so it cannot be where it came from.")
        raise ValidationError({"came_from": said}, code="later")


def _told(row: Rework) -> dict[str, object]:
    told: dict[str, object] = {
        "part": row.step.part.name,
        "cause": row.cause.name,
        "goes back to": str(row.back_to),
        "pieces": row.pieces,
    }
    told |= {"came from": f"{row.came_from.part}: {row.came_from}"} if row.came_from else {}
    told |= {"scrapped": row.scrapped} if row.scrapped else {}
    told |= {"note": row.note} if row.note else {}
    return told


@transaction.atomic
def price_replacement(*, rework: Rework, cost_minor: int, who: str, now: datetime) -> None:
    """Note what the replacement of what was scrapped costs [minor units]; it can be said anew."""
    hold_scope(rework.step.part.restoration_id)
    rework.refresh_from_db()
    if not rework.scrapped:
        raise ValidationError(_("Nothing was scrapped here, so nothing is replaced."), code="not scrapped")
    if cost_minor < 0:
        raise ValidationError({"cost": _("Give 0 or more.")}, code="negative")
    before = {} if rework.replacement_minor is None else {"replacement minor": rework.replacement_minor}
    rework.replacement_minor = cost_minor
    rework.save(update_fields=["replacement_minor"])
    after = {"replacement minor": cost_minor}
    record(who=who, at=now, what="replacement priced", subject=subject_of(rework.step), before=before, after=after)
