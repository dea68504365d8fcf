"""What is next for somebody, in words. It rests on rows and the day alone, and is kept while these are the same."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import islice
from uuid import UUID

from django.utils import timezone

from shop.rereading import reread
from shop.routes.my_tasks import TaskCard, cards_and_look
from shop.routes.standard import Standard

#: Parts and reasons that a card names.
PARTS, REASONS = 4, 3


@dataclass(frozen=True, slots=True)
class Brief:
    """A task in words. ``standard`` is what is still to do of it in hours and minutes, empty where nobody said."""

    task: UUID
    name: str
    kind: str
    place: str
    bikes: str
    parts: str
    must: date | None
    came_in: bool
    late: bool
    standard: str
    place_taken: bool
    taken: bool
    waits_for: tuple[str, ...]
    begin_by: datetime | None


@dataclass(frozen=True, slots=True)
class Bike:
    uid: str
    title: str


@dataclass(frozen=True, slots=True)
class Next:
    """Tasks that can be begun, and ``waits`` that cannot. ``more`` counts those of the first that are not shown."""

    ready: tuple[Brief, ...]
    more: int
    waiting: tuple[Brief, ...]
    waits: int
    bikes: tuple[Bike, ...]


@reread(most=32, frozen=(Next,))
def next_for(person: int, on: int | None, today: date, *, bike: str, most: int | None) -> Next:
    """For ``person``, who is ``on`` a task, by their keys; at most so many of each kind, of one bike where its uid is given."""
    begin = timezone.make_aware(datetime.combine(today, time.min))
    cards = cards_and_look(now=begin, person=person)[
        0
    ]  # of the moment only its day counts: `Brief` says nothing of overdue
    bikes = {str(row.uid): str(row) for card in cards for row in card.bikes}
    cards = [card for card in cards if card.task.pk != on]
    if bike:
        cards = [card for card in cards if any(str(row.uid) == bike for row in card.bikes)]
    ready = [card for card in cards if card.is_ready and not card.taken]
    waiting = [card for card in cards if not card.is_ready or card.taken]
    return Next(
        ready=tuple(brief(card, today) for card in ready[:most]),
        more=len(ready) - len(ready[:most]),
        waiting=tuple(brief(card, today) for card in waiting[:most]),
        waits=len(waiting),
        bikes=tuple(Bike(uid, title) for uid, title in sorted(bikes.items(), key=lambda one: one[1])),
    )


def brief(card: TaskCard, today: date) -> Brief:
    task = card.task
    return Brief(
        task=task.uid,
        name=task.name,
        kind=task.kind,
        place=str(task.place or ""),
        bikes=", ".join(str(bike) for bike in card.bikes),
        parts=_named(_parts(card)),
        must=card.must,
        came_in=card.came_in,
        late=card.must is not None and card.must < today and not card.came_in,
        standard=in_hours(card.standard),
        place_taken=card.place_taken,
        taken=card.taken,
        waits_for=tuple(islice(card.waits_for, REASONS)),
        begin_by=card.begin_by,
    )


def in_hours(standard: Standard) -> str:
    minutes = int(standard.minutes.to_integral_value())
    return f"{minutes // 60}:{minutes % 60:02}" if minutes else ""


def _parts(card: TaskCard) -> Iterable[str]:
    """Parts by name, each once; what can be begun first."""
    lines = [*card.ready, *(line for line in card.lines if not line.state.is_ready)]
    return dict.fromkeys(str(line.step.part) for line in lines)


def _named(parts: Iterable[str]) -> str:
    names = list(parts)
    return " · ".join(names[:PARTS]) + (" …" if len(names) > PARTS else "")
