"""The first page of the desk as blocks, the most pressing first, and the sentence that sums them up."""

from collections.abc import Iterable, Sized
from dataclasses import dataclass
from datetime import date

from quotes.desk import in_workshop, today, waiting
from shop.rereading import reread

#: By name. What is not named here comes behind what is late, and before what may wait.
PRESSING = (
    "pins",
    "taps",
    "climbed",
    "reminders",
    "late",
    "vendor-late",
    "vendor-leaves",
    "lapsed",
    "questions",
    "numbers",
    "reported",
    "accepted",
    "to-ask",
    "open",
)
MAY_WAIT = ("draft", "workshop", "silence", "held", "unready")
#: In a shop where one person does everything, these are folded away unless there is nothing else.
FOLDED = frozenset(MAY_WAIT) - {"workshop"}


@dataclass(frozen=True, slots=True)
class Block:
    """One of three: a section of restorations, a group of things that wait, or the bikes in the workshop."""

    name: str
    title: str
    about: str
    count: str
    open: bool
    section: today.Section | None = None
    group: waiting.Group | None = None
    bikes: in_workshop.Bikes | None = None


@reread(most=4)
def blocks(day: date, *, fold: bool, manager: bool = False) -> list[Block]:
    """All that is not empty. With ``fold``, what may wait is there, but shut; without ``manager``, not what is theirs alone."""
    found = sorted(
        (block for block in _all(day) if manager or not (block.group and block.group.for_manager)),
        key=lambda block: _place(block.name),
    )
    if not fold:
        return found
    return [_shut(block) if block.name in FOLDED and number else block for number, block in enumerate(found)]


def _place(name: str) -> int:
    if name in PRESSING:
        return PRESSING.index(name)
    behind = len(PRESSING)
    return behind + 1 + MAY_WAIT.index(name) if name in MAY_WAIT else behind


def _shut(block: Block) -> Block:
    return Block(block.name, block.title, block.about, block.count, False, block.section, block.group, block.bikes)


def _all(day: date) -> Iterable[Block]:
    for section in today.for_desk(day):
        count = _count(section.lines, more=section.more)
        yield Block(section.standing, section.title, section.about, count, True, section=section)
    for group in waiting.groups(day):
        count = _count(group.rows, more=len(group.rows) == today.SHOWN)
        yield Block(group.name, group.title, group.about, count, True, group=group)
    found = in_workshop.bikes(day)
    if found.rows:
        title, about = in_workshop.words()
        yield Block("workshop", title, about, _count(found.rows, more=found.more), True, bikes=found)


def _count(rows: Sized, *, more: bool) -> str:
    return f"{len(rows)}+" if more else str(len(rows))
