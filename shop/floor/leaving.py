"""Before a bike leaves: runs with what is looked at on each, and the snags they bring to light.

A stage may be run as often as it takes. The newest tick of a check counts; what was not as it should be is a snag at once, and
has to be looked at again after it was settled.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from shop.floor.models import Run, RunTick, Snag
from shop.journal.services import record, subject_of
from shop.methods.models import RunCheck, Stage
from shop.methods.run_checks import asked
from shop.people.models import User
from shop.restorations.models import Restoration
from shop.restorations.services import hold_scope
from shop.routes.models import Step

#: On these the bike goes some way, and how far is asked.
WITH_DISTANCE = (Stage.RUN_IN, Stage.ROAD_TEST)
LONGEST = 300
MOST_FOUND = 30


# -- what is there -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """A check of a run, with how it came out last on this run."""

    check: RunCheck
    tick: RunTick | None


def checks_of(run: Run) -> list[Asked]:
    """What is looked at on a run: what is in use, and what was ticked before it ended. Two queries."""
    newest = {tick.check_asked_id: tick for tick in run.ticks.select_related("person", "check_asked")}
    found = [Asked(check, newest.pop(check.pk, None)) for check in asked(run.stage)]
    return found + [Asked(tick.check_asked, tick) for tick in newest.values()]


def missing(run: Run) -> list[RunCheck]:
    """The checks that nobody has ticked on this run yet."""
    return [item.check for item in checks_of(run) if item.tick is None]


def open_snags(restoration: Restoration) -> QuerySet[Snag]:
    rows = Snag.objects.filter(restoration=restoration, settled_at__isnull=True)
    return rows.select_related("step__operation", "step__service", "step__part", "person", "run")


@dataclass(frozen=True, slots=True)
class StageState:
    """How a stage of a bike stands: its runs, the open one, and checks that are not as they should be by their newest tick."""

    stage: Stage
    asks: bool
    runs: Sequence[Run]
    wrong: Sequence[RunTick]

    @property
    def open_run(self) -> Run | None:
        return next((run for run in self.runs if run.finished_at is None), None)

    @property
    def finished(self) -> Run | None:
        """The newest finished run."""
        return next((run for run in reversed(self.runs) if run.finished_at is not None), None)


def stages(restoration: Restoration) -> list[StageState]:
    """Every stage in its order; three queries."""
    runs = list(restoration.runs.select_related("person").order_by("at", "pk"))
    ticks = (
        RunTick.objects.filter(run__restoration=restoration).select_related("run", "check_asked").order_by("at", "pk")
    )
    newest = {tick.check_asked_id: tick for tick in ticks}
    in_use = asked()
    return [
        StageState(
            stage=stage,
            asks=any(check.stage == stage for check in in_use),
            runs=[run for run in runs if run.stage == stage],
            wrong=[
                tick
                for tick in newest.values()
                if tick.run.stage == stage and not tick.as_it_should and not tick.check_asked.ended
            ],
        )
        for stage in Stage
    ]


def not_ready(restoration: Restoration) -> list[str]:
    """What is missing before the bike may leave, in sentences: runs, what was not as it should be, open snags."""
    found = [said for state in stages(restoration) for said in _of_stage(state)]
    found += [_("Snag: %(snag)s. Settle it first.") % {"snag": snag.words} for snag in open_snags(restoration)]
    return found


def _of_stage(state: StageState) -> Iterable[str]:
    told = {"stage": state.stage.label}
    if state.open_run is not None:
        yield _("The %(stage)s is begun and not finished.") % told
    elif state.asks and state.finished is None:
        yield _("The %(stage)s is missing.") % told
    for tick in state.wrong:
        said = _("The %(stage)s: “%(check)s” was not as it should be, and nobody has looked again.")
        yield said % {**told, "check": tick.words}


def steps_of(restoration: Restoration, words: str) -> list[Step]:
    """Steps of a bike by words in the name of their part or work, at most thirty: for whoever says where something comes from."""
    rows = Step.objects.filter(part__restoration=restoration, part__removed_at__isnull=True, removed_at__isnull=True)
    for word in words.split():
        rows = rows.filter(
            Q(part__name__icontains=word)
            | Q(operation__name__icontains=word)
            | Q(service__name__icontains=word)
            | Q(buy__icontains=word)
        )
    rows = rows.select_related("part", "operation", "service__vendor")
    return list(rows.order_by("part__position", "part", "position")[:MOST_FOUND])


# -- runs --------------------------------------------------------------------------------------------------------------


@transaction.atomic
def begin_run(*, restoration: Restoration, stage: str, person: User, now: datetime) -> Run:
    """Begin a stage, for the first time or once more. One that is begun already is gone on with."""
    hold_scope(restoration.pk)
    if stage not in Stage.values:
        raise ValidationError({"stage": _("Choose one of the stages.")})
    there = Run.objects.filter(restoration=restoration, stage=stage, finished_at__isnull=True).first()
    if there is not None:
        return there
    run = Run.objects.create(restoration=restoration, stage=stage, person=person, at=now)
    told = {"stage": run.get_stage_display()}
    record(who=person.username, at=now, what="run begun", subject=subject_of(restoration), after=told)
    return run


@transaction.atomic
def tick(*, run: Run, check: RunCheck, as_it_should: bool, note: str = "", person: User, now: datetime) -> RunTick:
    """How a check came out. Not as it should be, it is a snag at once; ticked the same twice, it is kept once."""
    _hold(run)
    _refuse_finished(run)
    if check.stage != run.stage:
        raise ValidationError(_("This is not looked at here. Look at the page again."), code="other stage")
    before = run.ticks.filter(check_asked=check).order_by("-at", "-pk").first()
    if before is not None and (before.as_it_should, before.note) == (as_it_should, note.strip()):
        return before
    row = RunTick(
        run=run,
        check_asked=check,
        words=check.words,
        as_it_should=as_it_should,
        note=note.strip(),
        person=person,
        at=now,
    )
    row.full_clean(exclude={"run", "check_asked", "person"})
    row.save()
    if not as_it_should and (before is None or before.as_it_should or not _has_snag(run, check)):
        _snag_of(row, now)
    return row


def _has_snag(run: Run, check: RunCheck) -> bool:
    return run.snags.filter(settled_at__isnull=True, words__startswith=check.words[:LONGEST]).exists()


def _snag_of(tick: RunTick, now: datetime) -> Snag:
    words = f"{tick.words}: {tick.note}" if tick.note else tick.words
    return add_snag(restoration=tick.run.restoration, words=words[:LONGEST], run=tick.run, person=tick.person, now=now)


@transaction.atomic
def finish_run(*, run: Run, distance: Decimal | None = None, note: str = "", person: User, now: datetime) -> Run:
    """Say that a run is done: refused while a tick is missing, and without a distance where the bike went some way [km]."""
    _hold(run)
    if run.finished_at is not None:
        return run
    held = missing(run)
    if held:
        said = _("Not ticked yet: %(check)s.")
        raise ValidationError([ValidationError(said % {"check": check.words}, code="not ticked") for check in held])
    if run.stage in WITH_DISTANCE and not distance:
        raise ValidationError({"distance": _("Say how far it went, in kilometres.")}, code="no distance")
    run.distance, run.note, run.finished_at = distance, note.strip(), now
    run.full_clean(exclude={"restoration", "person"}, validate_unique=False, validate_constraints=False)
    run.save(update_fields=["distance", "note", "finished_at"])
    told: dict[str, object] = {"stage": run.get_stage_display()}
    told |= ({"distance": distance} if distance else {}) | ({"note": run.note} if run.note else {})
    record(who=person.username, at=now, what="run finished", subject=subject_of(run.restoration), after=told)
    return run


@transaction.atomic
def drop_run(*, run: Run, person: User, now: datetime) -> None:
    """Take back a run that was begun by a slip: one on which nothing was ticked yet."""
    _hold(run)
    _refuse_finished(run)
    if run.ticks.exists() or run.snags.exists():
        raise ValidationError(_("Something was noted on this run already, so it stays. Finish it."), code="noted")
    told = {"stage": run.get_stage_display()}
    run.delete()
    record(who=person.username, at=now, what="run taken back", subject=subject_of(run.restoration), before=told)


def _hold(run: Run) -> None:
    hold_scope(run.restoration_id)
    if not Run.objects.filter(pk=run.pk).exists():
        raise ValidationError(_("Somebody took this run back meanwhile."), code="gone")
    run.refresh_from_db(fields=["finished_at", "distance", "note"])


def _refuse_finished(run: Run) -> None:
    if run.finished_at is not None:
        raise ValidationError(_("This run is finished. Begin the stage once more."), code="finished")


# -- snags -------------------------------------------------------------------------------------------------------------


@transaction.atomic
def add_snag(
    *,
    restoration: Restoration,
    words: str,
    uid: UUID | None = None,
    step: Step | None = None,
    run: Run | None = None,
    person: User,
    now: datetime,
) -> Snag:
    """Something that is not right before hand-over. ``uid`` is that of the form: sent twice, it is kept once."""
    hold_scope(restoration.pk)
    before = Snag.objects.filter(uid=uid).first() if uid else None
    if before is not None:
        return before
    row = Snag(restoration=restoration, words=words.strip(), step=step, run=run, person=person, at=now)
    row.uid = uid or row.uid
    row.full_clean(exclude={"restoration", "step", "run", "person"})
    _refuse_other_bike(step, restoration)
    row.save()
    told = {"snag": row.words} | ({"step": f"{step.part}: {step}"} if step else {})
    record(who=person.username, at=now, what="snag noted", subject=subject_of(restoration), after=told)
    return row


@transaction.atomic
def say_step(*, snag: Snag, step: Step | None, person: User, now: datetime) -> Snag:
    """Say from which step a snag comes; None takes that back."""
    hold_scope(snag.restoration_id)
    snag.refresh_from_db()
    _refuse_other_bike(step, snag.restoration)
    before, snag.step = snag.step, step
    snag.save(update_fields=["step"])
    old, new = ({"step": f"{one.part}: {one}" if one else ""} for one in (before, step))
    subject = subject_of(snag.restoration)
    record(
        who=person.username, at=now, what="snag traced", subject=subject, before=old, after=new | {"snag": snag.words}
    )
    return snag


@transaction.atomic
def settle_snag(*, snag: Snag, how: str, person: User, now: datetime) -> Snag:
    """Say what was done about it. Settled already, nothing changes."""
    hold_scope(snag.restoration_id)
    snag.refresh_from_db()
    if snag.settled_at is not None:
        return snag
    if not how.strip():
        raise ValidationError({"how": _("Say what was done: the next one who looks goes by it.")}, code="required")
    snag.settled_how, snag.settled_at, snag.settled_by = how.strip(), now, person.username
    snag.full_clean(exclude={"restoration", "step", "run", "person"}, validate_unique=False)
    snag.save(update_fields=["settled_how", "settled_at", "settled_by"])
    told = {"snag": snag.words, "what was done": snag.settled_how}
    record(who=person.username, at=now, what="snag settled", subject=subject_of(snag.restoration), after=told)
    return snag


def _refuse_other_bike(step: Step | None, restoration: Restoration) -> None:
    if step is not None and step.part.restoration_id != restoration.pk:
        raise ValidationError({"step": _("That step is of another bike. Choose one of this bike.")}, code="bike")
