"""Vendor jobs with what hangs on their parts: tags go out with a lot, and to a shelf when it is back. One transaction each."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from shop.floor import custody, tag_codes
from shop.floor.models import Shelf, Tag
from shop.people.models import User
from shop.routes.models import Done, Step
from shop.vendor_jobs import not_left
from shop.vendor_jobs.lots import hold_planned, leave_behind, plan_lot
from shop.vendor_jobs.models import Job, Line
from shop.vendor_jobs.receiving import Arrival, Received, pass_on, receive, take_back_arrival
from shop.vendor_jobs.sending import LetGo, Told, open_lines, send_out


def plan(*, steps: Sequence[Step], who: str, now: datetime) -> Job:
    """A lot of ``steps``; where all of them were rejected on one job, it is that one done again."""
    return plan_lot(steps=steps, redo_of=_rejected_on(steps), who=who, now=now)


def plan_again(*, job: Job, who: str, now: datetime) -> Job:
    """A lot of what was rejected on a job, and is nowhere else by now."""
    steps = list(Step.objects.filter(job_lines__in=rejected(job)).select_related("part").distinct())
    return plan_lot(steps=steps, redo_of=job, who=who, now=now)


def rejected(job: Job) -> QuerySet[Line]:
    """Lines of a job that were rejected and are neither in a lot again nor done by now."""
    rows = job.lines.filter(outcome=Line.Outcome.REJECTED).select_related("step__part")
    again = Line.objects.filter(outcome=Line.Outcome.OPEN).values("step")
    done = Done.objects.filter(undone_at__isnull=True).values("step")
    return rows.exclude(step__in=again).exclude(step__in=done)


def _rejected_on(steps: Sequence[Step]) -> Job | None:
    """The one job on which every one of ``steps`` was rejected last, on its present visit."""
    lines = Line.objects.filter(step__in=steps).exclude(outcome=Line.Outcome.NOT_SENT)
    last = {line.step_id: line for line in lines.select_related("job__service", "step").order_by("pk")}
    jobs = {_rejecting(last.get(step.pk)) for step in steps}
    return jobs.pop() if len(jobs) == 1 else None


def _rejecting(line: Line | None) -> Job | None:
    if line is None or line.outcome != Line.Outcome.REJECTED or line.visit != line.step.visit:
        return None
    return line.job


@transaction.atomic
def send(
    *,
    job: Job,
    on: date,
    told: Told | None,
    carried_by: str,
    let_go: LetGo | None,
    stay: Mapping[int, int] | None = None,
    person: User,
    now: datetime,
) -> Job:
    """The lot leaves, and with it the tags that hang on its parts. All of it, or a `ValidationError` saying why not.

    ``stay`` says of a line, by its key, how many of its pieces stay here: they become a part of their own.
    """
    job = hold_planned(job)
    if stay:
        lines = open_lines(job)
        if sum(stay.values()) == sum(line.pieces for line in lines):
            raise ValidationError(_("Nothing would go. If the lot does not go at all, say so below."), code="nothing")
        for line in lines:
            leave_behind(line=line, pieces=stay.get(line.pk, 0), who=person.username, now=now)
    tags = _tags(line.step.part_id for line in open_lines(job))
    sent = send_out(
        job=job,
        on=on,
        told=told,
        carried_by=carried_by,
        let_go=let_go,
        tags=_codes(tags),
        who=person.username,
        now=now,
    )
    _move(tags.values(), None, str(sent.vendor), person, now)
    return sent


@transaction.atomic
def count_in(
    *,
    job: Job,
    arrivals: Sequence[Arrival],
    on: date,
    looked_by: str,
    shelf: Shelf | None,
    person: User,
    now: datetime,
) -> Received:
    """What came is counted in, and the tags on what is here again go to the shelf, or to whoever looked."""
    found = receive(job=job, arrivals=arrivals, on=on, looked_by=looked_by, who=person.username, now=now)
    here = [line.step.part_id for line in found.lines if line.outcome != Line.Outcome.LOST]
    _move(_tags(here).values(), shelf, looked_by.strip(), person, now)
    return found


@transaction.atomic
def straight_on(*, job: Job, to: Job, on: date, said_by: str, told: Told | None, person: User, now: datetime) -> Job:
    """From one vendor to the next without being here in between; the tags go along."""
    tags = _tags(line.step.part_id for line in open_lines(to))
    sent = pass_on(job=job, to=to, on=on, said_by=said_by, told=told, tags=_codes(tags), who=person.username, now=now)
    _move(tags.values(), None, str(sent.vendor), person, now)
    return sent


@transaction.atomic
def had_not_left(*, job: Job, person: User, now: datetime) -> Job:
    """That it left was a slip: its tags are where they were before, and a lot like it is planned."""
    tags = _tags(line.step.part_id for line in open_lines(job))
    new = not_left.had_not_left(job=job, who=person.username, now=now)
    for found in tags.values():
        for tag in found:
            custody.move_back(tag=tag, left=str(job.vendor), person=person, now=now)
    return new


@transaction.atomic
def take_back(*, line: Line, person: User, now: datetime) -> Line:
    """What was said of a line today was a slip: it is out again, and its tags are at the vendor."""
    taken = take_back_arrival(line=line, who=person.username, now=now)
    if taken.outcome == Line.Outcome.OPEN:
        _move(_tags([taken.step.part_id]).values(), None, str(taken.job.vendor), person, now)
    return taken


def _tags(parts: Iterable[int]) -> dict[int, list[Tag]]:
    """Part to the tags that hang on it."""
    return {part: [one.tag for one in found] for part, found in custody.of_parts(list(parts)).items()}


def _codes(tags: dict[int, list[Tag]]) -> dict[int, str]:
    """As they are written on a dispatch note, at most as long as the column takes."""
    longest = Line._meta.get_field("tags").max_length or 0
    return {part: ", ".join(tag_codes.spaced(tag.code) for tag in found)[:longest] for part, found in tags.items()}


def _move(tags: Iterable[Collection[Tag]], shelf: Shelf | None, at_whom: str, person: User, now: datetime) -> None:
    for found in tags:
        for tag in found:
            custody.move(tag=tag, shelf=shelf, at_whom="" if shelf else at_whom, person=person, now=now)
