"""The wall page: who is on what, what leaves next, what can be begun, what was done today. No money, nothing of the customer.

But for who is on what it is kept while the rows it was made of are the same: a screen on a wall asks every twenty seconds.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.utils import timezone

from shop.floor.showing import Mate, mates
from shop.people.models import User
from shop.rereading import reread
from shop.routes.models import Away, Done
from shop.routes.my_tasks import cards_and_look
from shop.routes.progress import StepState

#: Rows of a board: what fits a screen in letters that are read from across the shop.
ROWS = 4
WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Out:
    """Vendor work that is agreed, with the day by which it must leave."""

    part: str
    bike: str
    vendor: str
    leave_by: date | None
    late: bool
    is_ready: bool


@dataclass(frozen=True, slots=True)
class Gone:
    """A part that is with others; ``due`` is the day they said last."""

    part: str
    where: str
    due: date | None
    late: bool


@dataclass(frozen=True, slots=True)
class Ready:
    """A task that can be begun and that nobody is on."""

    task: str
    bikes: str
    must: date | None


@dataclass(frozen=True, slots=True)
class Finished:
    part: str
    work: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Board:
    """What rests on rows and the day alone. ``later`` counts what leaves and is not shown, ``more_gone`` what is out."""

    leaving: tuple[Out, ...]
    later: int
    gone: tuple[Gone, ...]
    more_gone: int
    ready: tuple[Ready, ...]
    done: tuple[Finished, ...]


@dataclass(frozen=True, slots=True)
class Wall:
    mates: Sequence[Mate]
    board: Board


def wall(people: Iterable[User], *, now: datetime) -> Wall:
    """In a constant number of queries."""
    return Wall(mates(people, now=now), board(timezone.localdate(now)))


@reread(most=4, frozen=(Board,))
def board(today: date) -> Board:
    begin = timezone.make_aware(datetime.combine(today, time.min))
    cards, look = cards_and_look(
        now=begin
    )  # of the moment only its day counts here: nothing is said of what is overdue
    away = list(Away.objects.filter(ended_on__isnull=True).select_related("step__part").order_by("pk"))
    gone = _gone(away, today)
    out = {row.step_id for row in away}
    leaving = _leaving(
        [one for one in look.states.values() if one.step.pk not in out],
        {pk: row.leave_by for pk, row in look.planned.items()},
        today,
    )
    return Board(
        leaving=tuple(leaving[:ROWS]),
        later=max(0, len(leaving) - ROWS),
        gone=tuple(gone[:ROWS]),
        more_gone=max(0, len(gone) - ROWS),
        ready=tuple(
            Ready(str(card.task), ", ".join(str(bike) for bike in card.bikes), None if card.came_in else card.must)
            for card in [card for card in cards if card.is_ready and not card.on][:ROWS]
        ),
        done=tuple(_finished(begin)),
    )


def _leaving(states: Iterable[StepState], days: dict[int, date | None], today: date) -> list[Out]:
    """What can leave, and what must within a week."""
    found = []
    for state in states:
        service, day = state.step.service, days.get(state.step.pk)
        if service is None or state.is_done or state.is_out or not (state.is_ready or (day and day <= today + WEEK)):
            continue
        late = day is not None and day < today
        found.append(
            Out(str(state.step.part), str(state.step.part.restoration), str(service.vendor), day, late, state.is_ready)
        )
    return sorted(found, key=lambda row: (row.leave_by or date.max, row.part))


def _gone(away: Iterable[Away], today: date) -> list[Gone]:
    """What is with others, the longest late first, then by its day."""
    found = [
        Gone(str(row.step.part), row.where, row.due_on, row.due_on is not None and row.due_on < today) for row in away
    ]
    return sorted(found, key=lambda row: (row.due or date.max, row.part))


def _finished(begin: datetime) -> Iterable[Finished]:
    rows = Done.objects.filter(at__gte=begin, undone_at__isnull=True).order_by("-at")
    rows = rows.select_related("step__part", "step__operation", "step__service")[:ROWS]
    return (Finished(str(row.step.part), str(row.step), row.at) for row in rows)
