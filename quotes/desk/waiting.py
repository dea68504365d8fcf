"""What waits for the desk besides quotes: questions, payments, numbers, prices. Each room says its own; this lists them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from shop.restorations.models import Restoration


@dataclass(frozen=True, slots=True)
class Waits:
    """One thing to do about a restoration: ``text`` says what, ``address`` is where, ``tag`` how urgent in a word or two."""

    restoration: Restoration
    text: str
    address: str
    tag: str = ""
    tone: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Things of one kind. ``name`` is part of an element's id."""

    name: str
    title: str
    about: str
    rows: Sequence[Waits]


Source = Callable[[date], Group]

#: In the order in which they are shown; the most pressing first. Each takes a fixed number of queries.
SOURCES: tuple[Source, ...] = ()


def groups(day: date) -> list[Group]:
    """What waits on ``day``, without the kinds of which there is nothing."""
    return [group for group in (source(day) for source in SOURCES) if group.rows]
