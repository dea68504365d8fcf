"""What waits for the desk besides quotes: questions, payments, numbers, prices. Each room says its own; this lists them."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.module_loading import import_string

from shop.restorations.models import Restoration


@dataclass(frozen=True, slots=True)
class Act:
    """A button of a line: ``said`` is its label for whoever does not see the line; it sends ``value`` as ``box``."""

    address: str
    label: str
    said: str
    box: str = ""
    value: str = ""


@dataclass(frozen=True, slots=True)
class Waits:
    """One thing to do about a restoration, which is read with its customer; or about something else, called ``name``.

    ``text`` says what, ``address`` is where, ``tag`` how urgent in a word or two, ``acts`` what one tap does about it.
    """

    restoration: Restoration | None
    text: str
    address: str
    tag: str = ""
    tone: str = ""
    name: str = ""
    acts: tuple[Act, ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    """Things of one kind. ``name`` is part of an element's id."""

    name: str
    title: str
    about: str
    rows: Sequence[Waits]
    for_manager: bool = False


Source = Callable[[date], Group | Iterable[Group]]

#: In the order in which they are shown; the most pressing first. Each takes a fixed number of queries. By name, since
#: they are made of what is said above.
SOURCES: tuple[str, ...] = (
    "quotes.desk.waiting_accepted.accepted",
    "quotes.desk.waiting_pins.alarms",
    "quotes.desk.waiting_floor.taps",
    "quotes.desk.waiting_reminders.reminders",
    "quotes.desk.waiting_intake.numbers",
    "quotes.desk.waiting_bench.reports",
    "quotes.desk.waiting_vendor.groups",
    "quotes.desk.waiting_money.payments",
    "quotes.desk.waiting_customer.questions",
    "quotes.desk.waiting_customer.silence",
    "quotes.desk.waiting_money.held",
    "quotes.desk.waiting_bench.replacements",
    "quotes.desk.waiting_bench.returning",
    "quotes.desk.waiting_prices.run_out",
    "quotes.desk.waiting_prices.searching",
)


def groups(day: date) -> list[Group]:
    """What waits on ``day``, without the kinds of which there is nothing."""
    sources: list[Source] = [import_string(name) for name in SOURCES]
    return [group for source in sources for group in _each(source(day)) if group.rows]


def _each(found: Group | Iterable[Group]) -> Iterable[Group]:
    return (found,) if isinstance(found, Group) else found
