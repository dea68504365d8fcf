"""What the pages of checks, of work to do again and of whole tasks show. No money, nothing of the customer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.floor.checks import Asked, checks_for, checks_of
from shop.floor.doing import AllDone
from shop.floor.forms_doing import Options
from shop.floor.models import Rework
from shop.methods.models import Cause, FinishRoute, FinishStep, Operation, Service
from shop.restorations.models import Part
from shop.routes.again import ways_back
from shop.routes.models import Done, Remedy, Step, Task, TaskStep
from shop.routes.progress import States, look
from shop.routes.tasks import open_lines

NAMED = 4
#: Between the numbers of the lines that a page shows and a tap names.
LINES_APART = "."


@dataclass(frozen=True, slots=True)
class Doing:
    """A step on its present visit: what is asked, whether it is done, and what was said of it before."""

    step: Step
    asked: list[Asked]
    done: Done | None
    reworks: list[Rework]

    @property
    def caution(self) -> str:
        return (
            self.step.operation.caution
            if self.step.operation
            else self.step.service.caution
            if self.step.service
            else ""
        )

    @property
    def is_answered(self) -> bool:
        return not any(one.holds for one in self.asked)

    @property
    def short(self) -> list[Asked]:
        """Counts that say that pieces are missing."""
        return [one for one in self.asked if _is_short(one)]


def _is_short(one: Asked) -> bool:
    value = one.result.value if one.is_out and one.result else None
    is_count = one.check.kind == one.check.Kind.COUNT
    return is_count and value is not None and value == int(value) and 0 < value < one.step.part.pieces


def doing_of(step: Step) -> Doing:
    row = Done.objects.filter(step=step, visit=step.visit, undone_at__isnull=True).first()
    return Doing(step, checks_of(step), row, list(_reworks(step.part)))


def _reworks(part: Part) -> QuerySet[Rework]:
    """What was sent back of this part, the newest first."""
    rows = Rework.objects.filter(step__part=part).select_related(
        "cause",
        "person",
        "back_to__operation",
        "back_to__service",
        "step__operation",
        "step__service",
        "photograph",
        "task",
    )
    return rows.order_by("-at", "-pk")[:5]


def ready_words(ready: Sequence[Step]) -> str:
    """What somebody can go on with now, in a sentence."""
    names = "; ".join(_("%(step)s of %(part)s") % {"step": step, "part": step.part} for step in ready[:NAMED])
    rest = len(ready) - NAMED
    if rest > 0:
        said = ngettext("Now ready: %(names)s; and %(rest)d more.", "Now ready: %(names)s; and %(rest)d more.", rest)
        return said % {"names": names, "rest": rest}
    return _("Now ready: %(names)s.") % {"names": names}


def done_words(found: AllDone) -> str:
    """What came of saying that a task is done, in sentences."""
    count = len(found.done) + len(found.remedies)
    if not count:
        return _("Nothing is open in this task.")
    said = ngettext("%(count)d thing is done.", "%(count)d things are done.", count) % {"count": count}
    return f"{said} {ready_words(found.ready)}" if found.ready else said


def held_words(found: AllDone) -> str:
    """The same where something could not be done, and why."""
    said = ngettext(
        "%(count)d could not be done, “%(step)s” of %(part)s: %(why)s",
        "%(count)d could not be done, the first of them “%(step)s” of %(part)s: %(why)s",
        len(found.held),
    )
    first = found.held[0]
    told = {"count": len(found.held), "step": first.step, "part": first.step.part, "why": " ".join(first.why)}
    return f"{done_words(found)} {said % told}" if found.done or found.remedies else said % told


@dataclass(frozen=True, slots=True)
class Open:
    """A step of a task that is still open, and all that it waits for, in sentences."""

    line: TaskStep
    step: Step
    why: list[str]


@dataclass(frozen=True, slots=True)
class Whole:
    """What of a task is still open. ``free`` can be done at once."""

    remedies: list[Remedy]
    free: list[Open]
    held: list[Open]

    @property
    def lines(self) -> str:
        """What can be done, as a tap names it."""
        return LINES_APART.join(str(one.line.pk) for one in self.free)


def whole_task(task: Task, *, now: datetime) -> Whole:
    """How the open steps of a task stand, in a constant number of queries."""
    lines = open_lines(task).select_related(
        "step__part__restoration__machine", "step__part__agreed_finish", "step__operation", "step__service"
    )
    rows = list(lines.order_by("step__part__position", "step__part", "step__position"))
    steps = [line.step for line in rows]
    asked = checks_for(steps)
    states = look({step.part.restoration_id for step in steps}, now=now).states if steps else {}
    own = {step.pk for step in steps}
    found = [Open(line, line.step, _why(line.step, asked[line.step_id], states, own)) for line in rows]
    remedies = list(task.remedies.select_related("operation", "service__vendor").order_by("position"))
    free, held = ([one for one in found if bool(one.why) is waits] for waits in (False, True))
    return Whole(remedies, free, held)


def _why(step: Step, asked: Sequence[Asked], states: States, own: set[int]) -> list[str]:
    """Steps of the task itself are done before it, and hold nothing back."""
    state = states.get(step.pk)
    whys = [one.at_the_bench for one in state.why if one.step is None or one.step.pk not in own] if state else []
    return [*whys, *(one.why for one in asked if one.why)]


# -- again -------------------------------------------------------------------------------------------------------------


def options_of(step: Step, *, other: Part | None, now: datetime) -> Options:
    """What can be chosen where ``step`` has to be done again; with ``other``, the steps of that part may be where it came from."""
    part = step.part
    found = look({part.restoration_id}, now=now)
    route = [one for one in found.graph.routes.get(part.pk, []) if one.position <= step.position]
    origins: list[tuple[str, object]] = [(str(part), [(str(one.uid), str(one)) for one in route])]
    if other is not None and other.pk != part.pk:
        more = found.graph.routes.get(other.pk, [])
        origins.append((str(other), [(str(one.uid), str(one)) for one in more]))
    parts = Part.objects.filter(pk__in=[pk for pk, steps in found.graph.routes.items() if steps and pk != part.pk])
    return Options(
        part=part,
        causes=Cause.objects.filter(ended=False),
        parts=parts.order_by("position"),
        ways=ways_back(found, step),
        origins=origins,
        proposed=proposed_remedies(step),
        works=[*Operation.objects.order_by("name"), *Service.objects.select_related("vendor").order_by("name")],
    )


def proposed_remedies(step: Step) -> list[Operation | Service]:
    """How the coat that may be wrong comes off: what the step says, and the way to take the agreed finish off."""
    finishes = [pk for pk in (step.remedy_finish_id, step.part.agreed_finish_id) if pk]
    rows = FinishStep.objects.filter(
        route__finish__in=finishes,
        route__material=step.part.material,
        route__direction=FinishRoute.Direction.REMOVE,
    ).select_related("operation", "service__vendor")
    works: dict[str, Operation | Service] = {}
    for row in rows.order_by("route", "position"):
        works.setdefault(f"{row.operation_id} {row.service_id}", row.work)
    return list(works.values())
