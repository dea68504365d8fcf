"""Forms that note a rate: the day it holds from, its figures, and where it has them, rows of a table.

A table has its rows and some blank ones below, so that it needs no scripting; a row with nothing in it is left out.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import Number, PlainForm, plainly
from quotes.desk.views.days import DayField
from shop import currency

BLANK = 2
MORE = 3
MOST_ROWS = 40

#: What the services call an amount, and its column.
AMOUNTS = {
    "cost_rate": "cost_rate_minor",
    "charge_rate": "charge_rate_minor",
    "pack_price": "pack_price_minor",
    "lot_charge": "lot_minor",
    "minimum": "minimum_minor",
    "trip": "trip_minor",
    "overhead_rate": "overhead_rate_minor",
    "storage": "storage_minor",
    "inspect_fee": "inspect_fee_minor",
}


def column(model: type[Model], name: str) -> Any:
    """The model's field behind a box."""
    return model._meta.get_field(AMOUNTS.get(name, name))


def heading(model: type[Model], name: str) -> str:
    """What a figure is called, with its unit where it is money."""
    label = capfirst(str(column(model, name).verbose_name))
    return f"{label} [{currency.code()}]" if name in AMOUNTS else label


@dataclass(frozen=True, slots=True)
class Group:
    """Boxes under a heading; the ``rare`` ones are folded away."""

    heading: Any
    boxes: list[forms.BoundField]
    rare: list[forms.BoundField]

    @property
    def is_open(self) -> bool:
        """Whether something in a folded box is wrong."""
        return any(box.errors for box in self.rare)


class RateForm(PlainForm):
    """A new revision from a day on. ``numbers`` are boxes for figures of ``model``, whose columns name them."""

    model: ClassVar[type[Model]]
    numbers: ClassVar[Sequence[str]] = ()
    wholes: ClassVar[Sequence[str]] = ()
    groups: ClassVar[Sequence[tuple[Any, Sequence[str]]]] = ()  # a heading over some of the boxes; none need have one
    rare: ClassVar[Sequence[str]] = ()  # boxes that are seldom touched: folded away
    rows: ClassVar[str] = ""  # the word for a table, as the service calls it
    row_word: ClassVar[Any] = ""
    cells: ClassVar[Mapping[str, Callable[[], forms.Field]]] = {}

    use_required_attribute = False  # a blank row is left blank
    valid_from = DayField(label=gettext_lazy("From this day on"))

    def __init__(self, *args: Any, table: Sequence[Mapping[str, Any]] = (), count: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        declared = [name for name in self.fields if name != "valid_from"]
        for name in (*self.numbers, *self.wholes):
            whole = name in self.wholes
            made = forms.IntegerField(min_value=0, max_value=100_000) if whole else Number()
            self.fields[name] = made
            made.label = heading(self.model, name)
        self.boxes = ["valid_from", *self.numbers, *self.wholes, *declared]
        self.order_fields(self.boxes)
        self.count = self._make_rows(table, count) if self.rows else 0
        plainly(self)

    # -- the table ---------------------------------------------------------------------------------------------------

    def _make_rows(self, table: Sequence[Mapping[str, Any]], count: int) -> int:
        count = min(count or (sent_rows(self.data) if self.is_bound else len(table) + BLANK), MOST_ROWS)
        for number in range(count):
            held = table[number] if number < len(table) else {}
            for name, make in self.cells.items():
                self.fields[f"{name}-{number}"] = make()
                self.initial.setdefault(f"{name}-{number}", held.get(name))
        return count

    @property
    def lines(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Each row of the table with its boxes."""
        return [
            (
                _("%(row)s %(number)s") % {"row": self.row_word, "number": number + 1},
                [self[f"{name}-{number}"] for name in self.cells],
            )
            for number in range(self.count)
        ]

    def filled(self) -> list[dict[str, Any]]:
        """The rows with something in them."""
        rows = [
            {name: self.cleaned_data.get(f"{name}-{number}") for name in self.cells} for number in range(self.count)
        ]
        return [row for number, row in enumerate(rows) if self._anything_in(number)]

    def _anything_in(self, number: int) -> bool:
        typed = (str(self.data.get(self.add_prefix(f"{name}-{number}"), "")) for name in self.needed)
        return any(piece.strip() for piece in typed)

    @property
    def needed(self) -> list[str]:
        """What a row must have; a choice has something in it always, so it says nothing about whether the row is meant."""
        return [
            name for name, make in self.cells.items() if not isinstance(make(), forms.ChoiceField) and make().required
        ]

    def clean(self) -> dict[str, Any]:
        """What is missing in a row with nothing in it is not missed."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        for number in range(self.count):
            if not self._anything_in(number):
                for name in self.cells:
                    self.errors.pop(f"{name}-{number}", None)
        return data

    # -- in and out --------------------------------------------------------------------------------------------------

    @property
    def grouped(self) -> list["Group"]:
        """The boxes that are no part of the table, under their headings; first those that have none."""
        headed = {name for _heading, names in self.groups for name in names}
        first = ("", [name for name in self.boxes if name not in headed])
        return [self._group(heading, names) for heading, names in (first, *self.groups)]

    def _group(self, heading: Any, names: Sequence[str]) -> "Group":
        rare = [self[name] for name in names if name in self.rare]
        return Group(heading, [self[name] for name in names if name not in self.rare], rare)

    def said(self) -> dict[str, Any]:
        """What was typed, as the service takes it."""
        return {name: self.cleaned_data[name] for name in self.boxes}

    def place(self, error: ValidationError) -> None:
        """Put what a service refused at its box; what is wrong with a whole table stands at its first box."""
        boxes = {column: name for name, column in AMOUNTS.items()}
        if not hasattr(error, "error_dict"):
            self.add_error(None, error)
            return
        for name, errors in error.error_dict.items():
            box = boxes.get(name, name)
            if self.rows and box == self.rows:
                box = f"{next(iter(self.cells))}-0"
            self.add_error(box if box in self.fields else None, errors)


def sent_rows(data: Mapping[str, Any]) -> int:
    numbers = [int(tail) for name in data for _name, dash, tail in [name.rpartition("-")] if dash and tail.isdecimal()]
    return min(max(numbers, default=-1) + 1, MOST_ROWS)
