"""Lists as files: headings and rows of plain values in, a CSV or XLSX file out.

Text that begins like a formula stays text, and numbers stay numbers, written as they are and not as a page shows them.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.http import HttpResponse

from shop.papers.downloads import CSV, MEDIA_TYPES, XLSX, download
from shop.papers.formula_guard import guarded
from shop.papers.workbooks import Book, Value, plain
from shop.text import quantity

__all__ = ["CSV", "MEDIA_TYPES", "XLSX", "answer", "as_csv", "as_xlsx", "decimal_comma", "download"]


def answer(kind: str, *, name: str, headings: Sequence[Any], rows: Iterable[Sequence[Value]]) -> HttpResponse:
    """A list to download, as ``name``.csv or ``name``.xlsx; ``kind`` is ``CSV`` or ``XLSX``.

    Money comes as ``Decimal`` with the decimals of its currency, an empty cell as None. Raises ``ValueError`` for
    another kind.
    """
    if kind not in MEDIA_TYPES:
        raise ValueError(f"A list is written as {CSV} or {XLSX}, not {kind!r}.")
    csv_wanted = kind == CSV
    content = as_csv(headings, rows, comma=decimal_comma()) if csv_wanted else as_xlsx(headings, rows, title=name)
    return download(content, kind=kind, name=name)


def decimal_comma() -> bool:
    """Whether the reader writes decimals with a comma; spreadsheets then expect semicolons between cells."""
    return "," in quantity(Decimal("0.5"))


def as_csv(headings: Sequence[Any], rows: Iterable[Sequence[Value]], *, comma: bool) -> bytes:
    """UTF-8 with its mark, as spreadsheets want it."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=";" if comma else ",", lineterminator="\r\n")
    writer.writerow([guarded(str(heading)) for heading in headings])
    for row in rows:
        writer.writerow([_written(value, comma) for value in row])
    return text.getvalue().encode("utf-8-sig")


def _written(value: Value, comma: bool) -> str:
    said = plain(value)
    if isinstance(said, Decimal):
        return f"{said:f}".replace(".", ",") if comma else f"{said:f}"
    if isinstance(said, datetime):
        return f"{said:%Y-%m-%d %H:%M}"
    return said.isoformat() if isinstance(said, date) else guarded(said)


def as_xlsx(headings: Sequence[Any], rows: Iterable[Sequence[Value]], *, title: str) -> bytes:
    """One sheet with headings that stay in view, and a filter on each."""
    book = Book()
    sheet = book.add(title)
    sheet.head(headings)
    last = 0
    for last, row in enumerate(rows, start=1):
        for column, value in enumerate(row):
            sheet.put(last, column, value)
    if headings and last:
        sheet.sheet.autofilter(0, 0, last, len(headings) - 1)
    sheet.set_widths()
    sheet.sheet.set_landscape()
    sheet.sheet.fit_to_pages(1, 0)
    return book.content()
