"""Figures as cells: what was given on one sheet, what follows from it as a formula on another, each of them once."""

from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.engine.figures import Figure, given
from quotes.engine.formulas import REGISTRY
from quotes.pricing.workbook.formulas import WRITERS
from shop.papers.workbooks import Book, Sheet

INPUTS, WORKINGS = gettext_noop("Inputs"), gettext_noop("Workings")
FIGURE_FORMAT = "#,##0.00####"
#: A unit keeps its distance from the number before it.
BESIDE: dict[int, dict[str, int]] = {3: {"indent": 1}}
INPUT_HEADINGS = (gettext_noop("Of"), gettext_noop("Input"), gettext_noop("Value"), gettext_noop("Unit"))
INPUT_NOTES = (gettext_noop("Source"), gettext_noop("Name in formulas"))
WORKING_HEADINGS = (
    gettext_noop("Of"),
    gettext_noop("Figure"),
    gettext_noop("Value"),
    gettext_noop("Unit"),
    gettext_noop("How"),
)
#: A formula this sheet cannot say: its value stands there, and does not follow.
KEPT = gettext_noop("value as worked out, does not follow the inputs: %(formula)s")


def letter(column: int) -> str:
    """The name of a column, the first being 0.

    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def address(sheet: str, row: int, column: int) -> str:
    """A cell as formulas of other sheets name it; rows count from 0 here."""
    return f"'{sheet}'!${letter(column)}${row + 1}"


class Cells:
    """Gives every figure its cell. Figures are told apart by what they are, not by what they say: two may look alike."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.inputs, self.workings = book.add(_(INPUTS)), book.add(_(WORKINGS))
        self.inputs.head([_(word) for word in (*INPUT_HEADINGS, *INPUT_NOTES)], over_numbers={2})
        self.workings.head([_(word) for word in WORKING_HEADINGS], over_numbers={2})
        self._rows = {id(self.inputs): 1, id(self.workings): 1}
        self._cells: dict[int, tuple[Figure, str]] = {}
        #: Figure to what it belongs to and to the name formulas may call it by, where somebody knows.
        self.told: dict[int, tuple[str, str]] = {}
        #: Figure to the formula that stands for it here: the engine hands over its result alone.
        self.instead: dict[int, str] = {}
        self._kept: list[Figure] = []  # a figure that goes away might leave its number to another one

    def tell(self, figure: Figure, of: str, name: str = "") -> Figure:
        self._kept.append(figure)
        self.told.setdefault(id(figure), (of, name))
        return figure

    def follow(self, figure: Figure, formula: str) -> None:
        """Let ``figure`` be this formula wherever it is used. Say so before it gets its cell."""
        self._kept.append(figure)
        self.instead[id(figure)] = formula

    def same(self, figure: Figure, cell: str) -> None:
        """``figure`` says what stands in ``cell`` already."""
        self._cells[id(figure)] = (figure, cell)

    def at(self, figure: Figure, of: str) -> str:
        """The cell of a figure; ``of`` says what it belongs to, where nobody has said so before."""
        known = self._cells.get(id(figure))
        if known is None:
            known = (figure, self._new(figure, of))
            self._cells[id(figure)] = known
        return known[1]

    def input(self, name: str, value: Decimal, unit: str, *, of: str, source: str = "", called: str = "") -> str:
        """A cell for a value that the engine has no figure for."""
        return self.at(self.tell(given(name, value, unit, source), of, called), of)

    def work(self, name: str, formula: str, value: Decimal, unit: str, *, of: str) -> str:
        """A cell for a formula that the engine has no figure for."""
        return self._formula(of, name, formula, value, unit, "")

    def _new(self, figure: Figure, of: str) -> str:
        of, name = self.told.get(id(figure), (of, ""))
        formula = self.instead.get(id(figure))
        if formula is not None:
            how = REGISTRY[figure.formula].text if figure.formula else ""
            return self._formula(of, figure.name, formula, figure.value, figure.unit, how)
        if not figure.formula:
            return self._input(figure, of, name)
        cells = [self.at(item, of) for item in figure.inputs]
        text = REGISTRY[figure.formula].text
        write = WRITERS.get(figure.formula)
        if write is None:
            return self._value(of, figure, _(KEPT) % {"formula": text})
        return self._formula(of, figure.name, write(figure, cells), figure.value, figure.unit, text)

    def _input(self, figure: Figure, of: str, name: str) -> str:
        row, sheet = self._next(self.inputs), self.inputs
        for column, text in enumerate((of, figure.name, None, figure.unit, figure.source, name)):
            sheet.put(row, column, text, **BESIDE.get(column, {}))
        sheet.sheet.write_number(row, 2, figure.value, self.book.style(num_format=FIGURE_FORMAT, border=1))
        sheet.widen(2, len(f"{figure.value:,f}"[:16]))
        found = address(_(INPUTS), row, 2)
        if name:
            self.book.file.define_name(name, f"={found}")
        return found

    def _value(self, of: str, figure: Figure, how: str) -> str:
        row = self._describe(of, figure.name, figure.unit, how)
        self.workings.sheet.write_number(row, 2, figure.value, self._look())
        return address(_(WORKINGS), row, 2)

    def _formula(self, of: str, name: str, formula: str, value: Decimal, unit: str, how: str) -> str:
        row = self._describe(of, name, unit, how)
        self.workings.widen(2, len(f"{value:,.6f}"))
        self.workings.sheet.write_formula(row, 2, f"={formula}", self._look(), value)
        return address(_(WORKINGS), row, 2)

    def _describe(self, of: str, name: str, unit: str, how: str) -> int:
        row = self._next(self.workings)
        for column, text in enumerate((of, name, None, unit, how)):
            self.workings.put(row, column, text, **BESIDE.get(column, {}))
        return row

    def _look(self) -> Any:
        return self.book.style(num_format=FIGURE_FORMAT)

    def _next(self, sheet: Sheet) -> int:
        row = self._rows[id(sheet)]
        self._rows[id(sheet)] = row + 1
        return row
