"""The floor of made history: what was clocked, done, done again, sent out and found on one accepted bike.

Rows are written in bulk past the services, since nobody tapped anything; constraints and guards hold as ever. What stands in
the journal of it is one entry for the bike, see docs/decisions/made-history.md.
"""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from quotes.engine.learning import making
from quotes.engine.learning.factors import Piece
from quotes.engine.learning.making import Generator, Mechanic, Truth
from quotes.learning.history.hands import Hands, moment, working_days_after
from quotes.learning.work import Line, Standards
from shop.floor.handing_over import Said, words
from shop.floor.models import Clocking, HandedOver, Rework
from shop.journal.services import record, subject_of
from shop.methods.models import Cause, Service
from shop.people.models import User
from shop.restorations.intake import mark
from shop.restorations.models import PartDamage, Restoration
from shop.routes.graph import Graph, graph, has_work
from shop.routes.models import Away, Done, Step, Task, TaskStep
from shop.routes.selectors import as_measured
from shop.vendor_jobs.models import Charge, Job, Promise
from shop.vendor_jobs.models import Line as JobLine
from shop.vendor_jobs.prices import by_the_book

WHO = "made history"
MIDDAY = time(12)


@dataclass(slots=True)
class World:
    """What a bike is made in: the truth, draws, what is left of people's days, and how things stand on the last day."""

    truth: Truth
    draw: Generator
    hands: Hands
    people: dict[str, User]
    standards: Standards
    causes: dict[str, Cause]
    until: datetime
    job_number: int = 0


@dataclass(slots=True)
class Made:
    """Rows of a bike, unsaved; ``ends`` says when each step is done, None where it is not by the last day."""

    clockings: list[Clocking] = field(default_factory=list)
    dones: list[Done] = field(default_factory=list)
    again: list[tuple[Rework, Task, TaskStep]] = field(default_factory=list)
    jobs: list[tuple[Job, list[JobLine], Promise, list[Charge], list[Away]]] = field(default_factory=list)
    ends: dict[int, datetime | None] = field(default_factory=dict)


@transaction.atomic
def work(restoration: Restoration, world: World, *, of_bike: float, begins: datetime) -> datetime | None:
    """Work on an accepted bike until it is finished or history ends; when it was finished, None where it is not."""
    found = graph({restoration.pk})
    made = Made()
    placed = {
        line.step_id: line.task
        for line in TaskStep.objects.filter(step__in=found.steps).select_related("task", "step__operation")
    }
    for group in _groups(found, placed):
        _one(group, found, placed, world, made, of_bike=of_bike, begins=begins)
    _save(made)
    _damages(restoration, world, made, begins)
    finished = _finished(made)
    if finished is not None:
        _hand_over(restoration, finished)
    _tell(restoration, made, world.until if finished is None else finished)
    return finished


def _groups(found: Graph, placed: dict[int, Task]) -> list[list[Step]]:
    """Steps that are done together, in an order that works: those of a task, of one lot, or one alone."""
    groups: dict[Any, list[Step]] = {}
    turns = found.turns()
    for pk in found.in_order():
        step = found.steps[pk]
        if pk not in found.authorised or not has_work(step):
            continue
        key: Any = pk
        if pk in placed:
            key = "task", placed[pk].pk
        elif step.service_id:
            key = "lot", step.service_id, step.part.agreed_finish_id, turns[pk]
        groups.setdefault(key, []).append(step)
    return list(groups.values())


def _one(
    steps: list[Step],
    found: Graph,
    placed: dict[int, Task],
    world: World,
    made: Made,
    *,
    of_bike: float,
    begins: datetime,
) -> None:
    before = {one for step in steps for one in found.before[step.pk]} - {step.pk for step in steps}
    times = [made.ends.get(one, begins) for one in before]
    after = None if any(at is None for at in times) else max([begins, *(at for at in times if at is not None)])
    if after is None or after > world.until:
        made.ends |= dict.fromkeys((step.pk for step in steps), None)
    elif steps[0].service is not None:
        _send(steps, steps[0].service, world, made, after)
    elif steps[0].pk in placed:
        _clock(steps, placed[steps[0].pk], world, made, after, of_bike=of_bike)
    else:
        _bought(steps, world, made, after)


# -- own work ------------------------------------------------------------------------------------------------------------


def _clock(steps: list[Step], task: Task, world: World, made: Made, after: datetime, *, of_bike: float) -> None:
    pieces = _pieces(steps, world.standards)
    grade = pieces[0].grade if pieces else ""
    who = making.chosen(world.draw, world.truth, grade)
    out = making.worked(world.draw, world.truth, pieces, key="", bike="", of_bike=of_bike, who=who)
    end = _clocked(task, who, max(round(out.actual), 1), world, made, after)
    for step in steps:
        fails = world.draw.random() < world.truth.rework.get(str(step.operation.uid), 0.0) if step.operation else False
        if end is not None and fails:
            made.ends[step.pk] = _again(step, task, who, world, made, end, of_bike=of_bike)
        else:
            made.ends[step.pk] = end
            if end is not None:
                made.dones.append(Done(step=step, visit=1, at=end, who=who.key))
    if end is not None:
        task.closed_at = None


def _clocked(task: Task, who: Mechanic, minutes: int, world: World, made: Made, after: datetime) -> datetime | None:
    """Clock so many minutes; when the last of them ends, None where that is after history does."""
    person, end = world.people[who.key], after
    for first, last in world.hands.work(who.key, minutes, earliest=after):
        begin, end = moment(first), moment(last)
        if end > world.until:
            return None
        made.clockings.append(
            Clocking(
                person=person,
                task=task,
                began_at=begin,
                ended_at=end,
                ended_how=Clocking.How.RECALLED,
                how=Clocking.How.RECALLED,
                recorded_by=WHO,
            )
        )
    return end


def _again(
    step: Step, task: Task, who: Mechanic, world: World, made: Made, at: datetime, *, of_bike: float
) -> datetime | None:
    """It failed: it is done again by the same person, in a task of its own, and then it is right."""
    names = sorted(world.causes)
    weights = [world.truth.causes.get(name, 0.0) for name in names]
    cause = world.causes[names[_drawn(world.draw, weights)]]
    again = Task(
        kind=Task.Kind.REWORK,
        name=f"{step}, again"[:120],
        restoration=task.restoration,
        place=task.place,
        grade=task.grade,
        by_hand=True,
        origin_uid=step.uid,
        made_at=at,
    )
    row = Rework(step=step, visit=1, back_to=step, cause=cause, pieces=step.part.pieces or 1, at=at, note="")
    row.task, row.person = again, world.people[who.key]
    step.visit = 2
    made.again.append((row, again, TaskStep(step=step, visit=2)))
    pieces = _pieces([step], world.standards)
    out = making.worked(world.draw, world.truth, pieces, key="", bike="", of_bike=of_bike, who=who)
    end = _clocked(again, who, max(round(out.actual), 1), world, made, at)
    if end is not None:
        made.dones.append(Done(step=step, visit=2, at=end, who=who.key))
    return end


def _drawn(draw: Generator, weights: list[float]) -> int:
    at = draw.random() * sum(weights)
    for number, weight in enumerate(weights):
        at -= weight
        if at < 0:
            return number
    return len(weights) - 1


def _pieces(steps: list[Step], standards: Standards) -> list[Piece]:
    """A piece for each step of a task; what they share of a set-up is shared alike."""
    found = []
    for operation, rows in _by_operation(steps).items():
        if operation not in standards:
            continue
        lines = [standards.measured(_line(step)) for step in rows]
        whole = standards.together(operation, lines)
        found += [Piece(whole.operation, whole.setup / len(lines), line.run, whole.grade) for line in lines]
    return found


def _by_operation(steps: list[Step]) -> dict[int, list[Step]]:
    found: dict[int, list[Step]] = {}
    for step in steps:
        if step.operation_id:
            found.setdefault(step.operation_id, []).append(step)
    return found


def _line(step: Step) -> Line:
    part, measured = as_measured(step)
    own = None if measured.quantity is None else float(measured.quantity)
    sizes = float(part.area), float(part.weight), part.openings, part.spokes
    assert step.operation_id is not None
    return Line(0, None, step.operation_id, step.part.condition, own, part.pieces, *sizes, step.pk)


# -- others' work --------------------------------------------------------------------------------------------------------


def _send(steps: list[Step], service: Service, world: World, made: Made, after: datetime) -> None:
    """One lot to a vendor, with the day that was told, the day it was back, and what was charged."""
    truth = world.truth.vendors.get(service.name, making.Vendor(1.0, 0.3, 1.0))
    book = service.lead_days + 2 * service.vendor.transport_days
    took = max(1, round(book * truth.lead * making.factor(world.draw, truth.spread)))
    sent = working_days_after(timezone.localdate(after), 1)
    told, back = working_days_after(sent, book), working_days_after(sent, took)
    agreed = by_the_book(service, steps, on=sent) or 0
    world.job_number += 1
    left, came = _at(sent), _at(back)
    if left > world.until:
        made.ends |= dict.fromkeys((step.pk for step in steps), None)
        return
    is_back = came <= world.until
    job = Job(
        number=world.job_number,
        service=service,
        agreed_minor=agreed,
        agreed_status="seen",
        agreed_by=service.vendor.name[:120],
        agreed_on=sent,
        leave_on=sent,
        made_at=after,
        made_by=WHO,
        sent_on=sent,
        sent_at=left,
        sent_by=WHO,
        back_on=back if is_back else None,
    )
    settled: dict[str, Any] = {}
    if is_back:
        settled = {"outcome": "good", "back_on": back, "looked_by": WHO, "settled_at": came, "settled_by": WHO}
    lines = [JobLine(job=job, step=step, pieces=max(step.part.pieces, 1), **settled) for step in steps]
    promise = Promise(job=job, due_on=told, status="phoned", told_on=sent, at=left, recorded_by=WHO)
    price = round(agreed * truth.charge * making.factor(world.draw, 0.04))
    charges = [Charge(job=job, net_minor=price, on=back, at=came, recorded_by=WHO)] if is_back else []
    aways = [
        Away(
            step=step,
            where=service.vendor.name[:120],
            since=sent,
            due_on=told,
            ended_on=back if is_back else None,
            changed_at=came if is_back else left,
        )
        for step in steps
    ]
    made.jobs.append((job, lines, promise, charges, aways))
    made.ends |= dict.fromkeys((step.pk for step in steps), came if is_back else None)
    if is_back:
        made.dones += [Done(step=step, visit=1, at=came, who=WHO) for step in steps]


def _bought(steps: list[Step], world: World, made: Made, after: datetime) -> None:
    """Parts that come when they were said to."""
    for step in steps:
        came = _at(working_days_after(timezone.localdate(after), max(step.buy_lead_days, 1)))
        here = came <= world.until
        made.ends[step.pk] = came if here else None
        if here:
            made.dones.append(Done(step=step, visit=1, at=came, who=WHO))


def _at(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, MIDDAY))


# -- what is kept of it --------------------------------------------------------------------------------------------------


def _save(made: Made) -> None:
    Task.objects.bulk_create([task for _row, task, _line in made.again])
    for row, task, placed in made.again:
        row.task, placed.task = task, task
    TaskStep.objects.bulk_create([placed for _row, _task, placed in made.again])
    Rework.objects.bulk_create([row for row, _task, _line in made.again])
    Step.objects.bulk_update([row.step for row, _task, _line in made.again], ["visit"])
    Job.objects.bulk_create([job for job, *_rest in made.jobs])
    for job, lines, promise, charges, _aways in made.jobs:
        for line in lines:
            line.job = job
        promise.job = job
        for charge in charges:
            charge.job = job
    JobLine.objects.bulk_create([line for _job, lines, *_rest in made.jobs for line in lines])
    Promise.objects.bulk_create([promise for _job, _lines, promise, *_rest in made.jobs])
    Charge.objects.bulk_create([charge for *_rest, charges, _aways in made.jobs for charge in charges])
    Away.objects.bulk_create([away for *_rest, aways in made.jobs for away in aways])
    for clocking in made.clockings:
        clocking.task_id = clocking.task.pk
    Clocking.objects.bulk_create(sorted(made.clockings, key=lambda row: row.began_at))
    Done.objects.bulk_create(made.dones)


def _damages(restoration: Restoration, world: World, made: Made, begins: datetime) -> None:
    """What strip-down showed of each possible damage; found ones were none of this offer's."""
    if not made.clockings:
        return
    at = min(row.ended_at or begins for row in made.clockings)
    rows = list(PartDamage.objects.filter(part__restoration=restoration, removed_at__isnull=True).order_by("pk"))
    for row in rows:
        found = world.draw.random() < world.truth.damages[row.frequency]
        row.settled = PartDamage.Settled.FOUND if found else PartDamage.Settled.NOT_FOUND
        row.settled_at, row.settled_by = at, WHO
    PartDamage.objects.bulk_update(rows, ["settled", "settled_at", "settled_by"])


def _finished(made: Made) -> datetime | None:
    ends = [end for end in made.ends.values() if end is not None]
    return max(ends) if ends and len(ends) == len(made.ends) else None


def _hand_over(restoration: Restoration, at: datetime) -> None:
    day = timezone.localdate(at)
    said = Said(received_by=restoration.customer.name, on=day)
    text = words(restoration, said)
    HandedOver.objects.create(
        restoration=restoration,
        received_by=said.received_by,
        on=day,
        words=text,
        words_sha256=mark(text),
        at=at,
        recorded_by=WHO,
    )
    record(
        who=WHO,
        at=at,
        what="handed over",
        subject=subject_of(restoration),
        after={"received by": said.received_by, "on": day, "sha256": mark(text)},
    )


def _tell(restoration: Restoration, made: Made, at: datetime) -> None:
    minutes = sum((row.ended_at - row.began_at for row in made.clockings if row.ended_at), timedelta())
    record(
        who=WHO,
        at=at,
        what="made history laid in",
        subject=subject_of(restoration),
        after={
            "clockings": len(made.clockings),
            "minutes": int(minutes.total_seconds() // 60),
            "steps done": len(made.dones),
            "done again": len(made.again),
            "lots": len(made.jobs),
        },
    )


def first_number() -> int:
    """The last number of a lot so far."""
    return Job.objects.aggregate(last=Max("number"))["last"] or 0
