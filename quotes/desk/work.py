"""The work on a bike as the desk reads it: part by part, how every step stands, and the task it is in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.restorations.models import Part, Restoration
from shop.routes.models import Step, TaskStep
from shop.routes.progress import Cause, States, StepState, states_of


@dataclass(frozen=True, slots=True)
class Row:
    """A step: what the button says that marks it done, empty where there is none, and whether that can be taken back.

    ``later`` says that an open step of its part comes before it, so that what it waits for itself is no news yet.
    """

    state: StepState
    task: str
    button: str
    may_undo: bool
    later: bool

    @property
    def step(self) -> Step:
        return self.state.step


@dataclass(frozen=True, slots=True)
class PartWork:
    """A part with its steps, in their order."""

    part: Part
    rows: Sequence[Row]

    @property
    def done(self) -> int:
        return sum(row.state.is_done for row in self.rows)

    @property
    def is_done(self) -> bool:
        return self.done == len(self.rows)

    @property
    def place(self) -> tuple[int, int, int]:
        """Those with something to say first, those that are done last; of each in the order of the outline."""
        turn = 2 if self.is_done else 0 if any(row.button for row in self.rows) else 1
        return turn, self.part.position, self.part.pk


@dataclass(frozen=True, slots=True)
class Work:
    """All of a bike."""

    parts: Sequence[PartWork]
    states: States

    @property
    def untried(self) -> list[Step]:
        """What waits for a trial fit."""
        return [one.step for one in self.states.values() if any(reason.cause is Cause.TRIAL for reason in one.why)]

    @property
    def ready(self) -> int:
        return sum(one.is_ready for one in self.states.values())

    @property
    def done(self) -> int:
        return sum(one.is_done for one in self.states.values())


def work(restoration: Restoration, *, now: datetime) -> Work:
    """In a constant number of queries."""
    states = states_of(restoration, now=now)
    tasks = _tasks(states)
    today = timezone.localdate(now)
    parts: dict[int, tuple[Part, list[Row]]] = {}
    for state in states.values():
        part = state.step.part
        known = parts.setdefault(part.pk, (part, []))
        later = any(not row.state.is_done for row in known[1])
        known[1].append(_row(state, tasks.get(state.step.pk, ""), today == _day_done(state), later))
    found = [PartWork(part, rows) for part, rows in parts.values()]
    return Work(sorted(found, key=lambda one: one.place), states)


def _tasks(states: Mapping[int, StepState]) -> dict[int, str]:
    present = TaskStep.objects.filter(step__in=list(states), visit=F("step__visit"))
    return dict(present.values_list("step", "task__name"))


def _day_done(state: StepState) -> object:
    return timezone.localdate(state.done.at) if state.done else None


def _row(state: StepState, task: str, done_today: bool, later: bool) -> Row:
    step = state.step
    said = _("Is back") if step.service_id else _("Is here") if step.buy else _("Done")
    return Row(state, task, said if state.may_be_done else "", done_today, later)
