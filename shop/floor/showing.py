"""What the pages show that mechanics live in: who is on what, what is next, and how it is done. No money, nothing of the customer."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID, uuid4

from django.utils import timezone

from shop.floor.clockings import hanging
from shop.floor.models import Clocking
from shop.floor.pictures import of_parts
from shop.floor.proofs import proofs
from shop.floor.selectors import open_clockings
from shop.papers.models import Photograph
from shop.people.hands import only_person
from shop.people.models import User
from shop.restorations.models import Part, Restoration
from shop.routes.models import Done, PlannedStep, Step, Task
from shop.routes.my_tasks import Line, TaskCard, indirect_tasks, task_card, task_cards
from shop.routes.progress import StepState, look

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

    card: TaskCard
    uid: UUID
    late: bool
    parts: Sequence[str]

    @property
    def task(self) -> Task:
        return self.card.task


@dataclass(frozen=True, slots=True)
class Mine:
    """What somebody is on and what is next for them. ``more`` counts ready cards that are not shown."""

    on: Clocking | None
    hangs: Clocking | None
    ready: Sequence[Card]
    more: int
    waiting: Sequence[Card]
    waits: int
    indirect: Sequence[tuple[Task, UUID]]
    bikes: Sequence[Restoration]
    off_uid: UUID


def mine(person: User, *, bike: str, everything: bool, now: datetime) -> Mine:
    """In a constant number of queries; ``bike`` is the uid of the one bike to be shown, empty for all."""
    on = open_clockings().filter(person=person).first()
    cards = task_cards(now=now, person=person)
    bikes = {row.pk: row for card in cards for row in card.bikes}
    if bike:
        cards = [card for card in cards if any(str(row.uid) == bike for row in card.bikes)]
    cards = [card for card in cards if on is None or card.task.pk != on.task_id]
    ready = [card for card in cards if card.is_ready and not card.taken]
    waiting = [card for card in cards if not card.is_ready or card.taken]
    shown = ready if everything else ready[:SHOWN]
    today = timezone.localdate(now)
    return Mine(
        on=on,
        hangs=hanging(person, now=now),
        ready=[_card(card, today) for card in shown],
        more=len(ready) - len(shown),
        waiting=[_card(card, today) for card in (waiting if everything else waiting[:SHOWN])],
        waits=len(waiting),
        indirect=[(task, uuid4()) for task in indirect_tasks() if on is None or task.pk != on.task_id],
        bikes=sorted(bikes.values(), key=lambda row: row.title),
        off_uid=uuid4(),
    )


def _card(card: TaskCard, today: date) -> Card:
    late = card.must is not None and card.must < today
    return Card(card, uuid4(), late, _parts(card))


def _parts(card: TaskCard) -> list[str]:
    """Parts by name, each once; what can be begun first."""
    lines = [*card.ready, *(line for line in card.lines if not line.state.is_ready)]
    return list(dict.fromkeys(str(line.step.part) for line in lines))


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


@dataclass(frozen=True, slots=True)
class Out:
    """Vendor work that is agreed and can go, with the day by which it must leave."""

    state: StepState
    leave_by: date | None
    late: bool


@dataclass(frozen=True, slots=True)
class Wall:
    """What hangs on the wall: who is on what, what leaves next, what waits for a vendor, what was done today."""

    mates: Sequence[Mate]
    leaving: Sequence[Out]
    later: int
    done: Sequence[Done]
    ready: Sequence[TaskCard]


def wall(people: Iterable[User], *, now: datetime) -> Wall:
    """In a constant number of queries."""
    today = timezone.localdate(now)
    bikes = set(Restoration.objects.filter(tasks__closed_at__isnull=True).values_list("pk", flat=True).distinct())
    states = look(bikes, now=now).states
    outside = [state for state in states.values() if state.step.service_id and not state.is_done]
    days = dict(PlannedStep.objects.filter(step__in=[one.step.pk for one in outside]).values_list("step", "leave_by"))
    rows = [Out(one, days.get(one.step.pk), _is_late(days.get(one.step.pk), today)) for one in outside]
    rows = [row for row in rows if row.state.is_ready or (row.leave_by and row.leave_by <= today + timedelta(days=7))]
    rows.sort(key=lambda row: (row.leave_by or date.max, row.state.step.part.name))
    begin = timezone.make_aware(datetime.combine(today, datetime.min.time()))
    done = Done.objects.filter(at__gte=begin, undone_at__isnull=True).order_by("-at")
    return Wall(
        mates=mates(people, now=now),
        leaving=rows[:SHOWN],
        later=max(0, len(rows) - SHOWN),
        done=list(done.select_related("step__part__restoration", "step__operation", "step__service")[:6]),
        ready=[card for card in task_cards(now=now) if card.is_ready and not card.on][:6],
    )


def _is_late(day: date | None, today: date) -> bool:
    return day is not None and day < today
