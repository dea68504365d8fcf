"""What the pages show that mechanics live in: who is on what, what is next, and how it is done. No money, nothing of the customer."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid4

from django.utils import timezone

from shop.floor.briefs import Brief, Next, next_for
from shop.floor.clockings import hanging
from shop.floor.models import Clocking
from shop.floor.pictures import of_parts
from shop.floor.proofs import proofs
from shop.floor.selectors import open_clockings
from shop.papers.models import Photograph
from shop.people.hands import only_person
from shop.people.models import User
from shop.restorations.models import Part
from shop.routes.models import Step, Task
from shop.routes.my_tasks import Line, TaskCard, indirect_tasks, task_card

#: Cards on one page: what is further down is another day's work.
SHOWN = 12


@dataclass(frozen=True, slots=True)
class Mate:
    """Somebody at work, and what they are on."""

    person: User
    on: Clocking | None
    ran: int = 0  # [min]


def mates(people: Iterable[User], *, now: datetime) -> list[Mate]:
    """One query."""
    on = {row.person_id: row for row in open_clockings()}
    return [_mate(person, on.get(person.pk), now) for person in people]


def _mate(person: User, row: Clocking | None, now: datetime) -> Mate:
    return Mate(person, row, max(0, int((now - row.began_at).total_seconds()) // 60) if row else 0)


@dataclass(frozen=True, slots=True)
class Card:
    """A task as a card to tap; ``uid`` is the number of the tap that this rendering of it sends."""

    card: Brief
    uid: UUID
    exceeded: bool


@dataclass(frozen=True, slots=True)
class Mine:
    """What somebody is on and what is next for them."""

    on: Clocking | None
    hangs: Clocking | None
    next: Next
    ready: Sequence[Card]
    waiting: Sequence[Card]
    indirect: Sequence[tuple[Task, UUID]]
    off_uid: UUID


def mine(person: User, *, bike: str, everything: bool, now: datetime) -> Mine:
    """In a constant number of queries; ``bike`` is the uid of the one bike to be shown, empty for all."""
    on = open_clockings().filter(person=person).first()
    most = None if everything else SHOWN
    found = next_for(person.pk, on.task_id if on else None, timezone.localdate(now), bike=bike, most=most)
    return Mine(
        on=on,
        hangs=hanging(person, now=now),
        next=found,
        ready=[_card(one, now) for one in found.ready],
        waiting=[_card(one, now) for one in found.waiting],
        indirect=[(task, uuid4()) for task in indirect_tasks() if on is None or task.pk != on.task_id],
        off_uid=uuid4(),
    )


def _card(one: Brief, now: datetime) -> Card:
    return Card(one, uuid4(), one.begin_by is not None and now > one.begin_by)


@dataclass(frozen=True, slots=True)
class Piece:
    """One step of a task as it is read at the bench: of which part, how the part is to look, and how sure that is."""

    line: Line
    part: Part
    photographs: Sequence[Photograph]
    proof: str

    @property
    def step(self) -> Step:
        return self.line.step


@dataclass(frozen=True, slots=True)
class How:
    """A task opened: what it is of, what is dangerous about it, how it is done."""

    card: TaskCard
    pieces: Sequence[Piece]
    cautions: Sequence[str]
    instructions: Sequence[str]
    mates: Sequence[Mate]


def how(task: Task, *, now: datetime) -> How:
    """In a constant number of queries."""
    card = task_card(task, now=now)
    lines = [*card.lines, *card.done]
    parts = {line.step.part_id: line.step.part for line in lines}
    full = Part.objects.filter(pk__in=parts).select_related(
        "agreed_finish", "factory_finish", "old_finish", "kind", "restoration__machine"
    )
    known = {part.pk: part for part in full}
    pictures, sure = of_parts(list(known.values())), proofs(known.values(), on=timezone.localdate(now))
    pieces = [
        Piece(line, known[line.step.part_id], pictures.get(line.step.part_id, []), sure.get(line.step.part_id, ""))
        for line in lines
    ]
    works = [line.step.work for line in lines if not line.step.buy]
    first = [remedy.work for remedy in card.remedies]
    return How(
        card=card,
        pieces=pieces,
        cautions=list(dict.fromkeys(work.caution for work in (*first, *works) if work.caution)),
        instructions=list(dict.fromkeys(text for work in (*first, *works) if (text := _instructions(work)))),
        mates=[_mate(row.person, row, now) for row in open_clockings().filter(task=task)],
    )


def _instructions(work: object) -> str:
    return str(getattr(work, "instructions", ""))


@dataclass(frozen=True, slots=True)
class Strip:
    """What the one person of a one-person shop is on, for the head of every page."""

    person: User
    on: Clocking | None
    off_uid: UUID


def strip(person: User) -> Strip | None:
    """None where more than one person works here. Two queries."""
    if only_person() != person:
        return None
    return Strip(person, open_clockings().filter(person=person).first(), uuid4())
