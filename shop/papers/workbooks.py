"""Spreadsheets, safe out: text stays text, numbers stay exactly the numbers they are."""

import io
from collections.abc import Collection, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _

from shop.papers.formula_guard import risky

Value = str | int | Decimal | date | datetime | bool | Promise | None

#: A spreadsheet computes with so many digits; a number with more is written as text rather than changed.
DIGITS = 15
LONGEST_TEXT = 32_767
LONGEST_SHEET_NAME = 31
WIDEST, NARROWEST = 50, 6
NOT_IN_SHEET_NAMES = str.maketrans(dict.fromkeys("[]:*?/\\", " "))
NO_CONTROLS = {code: "\N{REPLACEMENT CHARACTER}" for code in range(32) if chr(code) not in "\t\n"}


class Book:
    """A file of sheets being written. Nothing in it is guessed from text: neither formula nor number nor address."""

    def __init__(self) -> None:
        import xlsxwriter  # only for those who write one

        self._out = io.BytesIO()
        guess_nothing = dict.fromkeys(("strings_to_formulas", "strings_to_numbers", "strings_to_urls"), False)
        self.file = xlsxwriter.Workbook(self._out, {"in_memory": True, **guess_nothing})
        self._formats: dict[tuple[tuple[str, Any], ...], Any] = {}

    def style(self, **wanted: Any) -> Any:
        """The same object for the same wish: a file holds each way to look once."""
        key = tuple(sorted(wanted.items()))
        if key not in self._formats:
            self._formats[key] = self.file.add_format(wanted)
        return self._formats[key]

    def add(self, title: str) -> "Sheet":
        return Sheet(self, self.file.add_worksheet(sheet_name(title)))

    def content(self) -> bytes:
        """The finished file; nothing can be added after it."""
        self.file.close()
        return self._out.getvalue()


class Sheet:
    """One sheet, written cell by cell; it remembers what its columns need in width."""

    def __init__(self, book: Book, sheet: Any) -> None:
        self.book, self.sheet = book, sheet
        self._widths: dict[int, int] = {}

    def put(self, row: int, column: int, value: Value, **look: Any) -> None:
        """Text as text, a number as a number, a day as a day; ``look`` as `xlsxwriter` names the ways to look."""
        said = plain(value)
        if isinstance(said, Decimal) and fits(said):
            self.sheet.write_number(row, column, said, self.book.style(**{"num_format": number_format(said)} | look))
            self.widen(column, len(f"{said:,f}"))
        elif isinstance(said, datetime):
            self.sheet.write_datetime(row, column, said, self.book.style(num_format="yyyy-mm-dd hh:mm", **look))
            self.widen(column, 16)
        elif isinstance(said, date):
            self.sheet.write_datetime(row, column, said, self.book.style(num_format="yyyy-mm-dd", **look))
            self.widen(column, 10)
        elif text := kept_text(f"{said:f}" if isinstance(said, Decimal) else said):
            kept = {"quote_prefix": True} if risky(text) else {}
            self.sheet.write_string(row, column, text, self.book.style(**kept, **look))
            self.widen(column, max(map(len, text.split("\n"))))

    def head(self, headings: Sequence[Any], *, row: int = 0, over_numbers: Collection[int] = ()) -> None:
        """A line of headings that stays in view; those of columns of numbers stand to the right, as numbers do."""
        for column, heading in enumerate(headings):
            side = "right" if column in over_numbers else "left"
            self.put(row, column, str(heading), bold=True, bottom=1, align=side)
        self.sheet.freeze_panes(row + 1, 0)
        self.sheet.repeat_rows(row)

    def widen(self, column: int, width: int) -> None:
        self._widths[column] = max(width, self._widths.get(column, 0))

    def set_widths(self) -> None:
        for column, width in self._widths.items():
            self.sheet.set_column(column, column, min(max(width + 2, NARROWEST), WIDEST))


def plain(value: Value) -> str | Decimal | date | datetime:
    """One of four kinds. A moment is that of the shop's clock."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, float):
        raise TypeError(f"A figure is a Decimal or a whole number, not a float ({value!r}).")
    if isinstance(value, int | Decimal):
        return Decimal(value)
    if isinstance(value, datetime):
        return timezone.make_naive(value) if timezone.is_aware(value) else value
    return value if isinstance(value, date) else str(value)


def fits(number: Decimal) -> bool:
    """Whether a spreadsheet holds it exactly as it is."""
    return number.is_finite() and len(number.normalize().as_tuple().digits) <= DIGITS and abs(number) < 10**DIGITS


def number_format(number: Decimal) -> str:
    """As many decimals as the number came with."""
    exponent = number.as_tuple().exponent
    return places_format(-exponent if isinstance(exponent, int) and exponent < 0 else 0)


def places_format(decimals: int) -> str:
    return "#,##0." + "0" * decimals if decimals else "#,##0"


def kept_text(text: str) -> str:
    """What a cell of a spreadsheet can hold of it: no control characters, and not more than it has room for."""
    kept = text.replace("\r\n", "\n").replace("\r", "\n").translate(NO_CONTROLS)
    return kept if len(kept) <= LONGEST_TEXT else kept[: LONGEST_TEXT - 1] + "…"


def sheet_name(title: str) -> str:
    """A name that every spreadsheet takes."""
    name = kept_text(title).translate(NOT_IN_SHEET_NAMES).replace("\n", " ").strip(" '")[:LONGEST_SHEET_NAME]
    return name.strip(" '") or "1"
