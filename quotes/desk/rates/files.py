"""The rate book as a file: a line for each price, and for what holds for the whole shop a line for each figure."""

from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.desk.rates.kinds import ALL, Kind, Rate
from quotes.desk.rates.tables import heading
from quotes.engine import canonical

KIND, NAME, FROM, VALUE = (gettext_noop(word) for word in ("kind", "name", "from", "value"))
BAR = " | "
SURE = ("status", "said_by", "valid_until")
OWN_LABELS = {
    "status": gettext_noop("The price is"),
    "said_by": gettext_noop("Who said so"),
    "valid_until": gettext_noop("The price holds until"),
    "breaks": gettext_noop("Price breaks"),
    "stages": gettext_noop("Payment stage"),
    "name": gettext_noop("Name on quotes"),
}


def label_of(kind: Kind, box: str) -> str:
    return _(OWN_LABELS[box]) if box in OWN_LABELS else heading(kind.model, box)


def boxes_of(kind: Kind) -> list[str]:
    """What a file says of a kind: its boxes, and its table as one."""
    boxes = [name for name in kind.form().boxes if name != "valid_from"]
    return [*([kind.form.rows] if kind.form.rows else []), *boxes]


def is_whole(kind: Kind) -> bool:
    """Whether there is one for the whole shop."""
    return not kind.of


def columns() -> list[str]:
    """The headings in the reader's language."""
    found = [_(name) for name in (KIND, NAME, FROM, VALUE)]
    for kind in (made() for made in ALL if made.of):
        found += [label for box in boxes_of(kind) if (label := label_of(kind, box)) not in found]
    return found


def rows(today: date) -> Iterator[list[Any]]:
    """What holds today and what comes."""
    order = columns()
    for kind in (made() for made in ALL):
        for thing in kind.book(today):
            for row in [*([thing.holds] if thing.holds else []), *thing.coming]:
                head = [str(kind.label), thing.name, row.valid_from]
                if is_whole(kind):
                    yield from ([head[0], label, head[2], value] for label, value in _figures(kind, row))
                else:
                    told = {label_of(kind, box): _cell(kind, row, box) for box in boxes_of(kind)}
                    yield [*head, None, *(told.get(label) for label in order[4:])]


def _figures(kind: Kind, row: Rate) -> Iterator[tuple[str, Any]]:
    for box in boxes_of(kind):
        label, value = label_of(kind, box), _cell(kind, row, box)
        if box in SEVERAL:
            yield from ((f"{label} {number}", piece) for number, piece in enumerate(str(value).split("\n"), start=1))
        else:
            yield label, value


#: What takes several lines of a file: a line for each payment stage, and for each assumption.
SEVERAL = ("stages", "assumptions")


def _cell(kind: Kind, row: Rate, box: str) -> Any:
    if box == kind.form.rows:
        between = "\n" if box in SEVERAL else BAR
        return between.join(joined(line) for line in kind.table(row))
    field = row._meta.get_field(box) if box in SURE else None
    value = getattr(row, box) if field is not None else kind.value(row, box)
    if box == "status" or (isinstance(value, str) and kind.form().fields[box].__class__ is forms.ChoiceField):
        return str(getattr(row, f"get_{box}_display")())
    if isinstance(value, Decimal | int | date) or value is None:
        return value
    return str(value)


def joined(line: Mapping[str, Any]) -> str:
    texts = [canonical.text(value) if isinstance(value, Decimal) else str(value) for value in line.values()]
    return (": " if len(texts) == 2 else "; ").join(texts)
