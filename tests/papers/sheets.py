"""Spreadsheets of every kind, made by a library or by hand."""

import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import openpyxl

NAMESPACE = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
SHEET = "xl/worksheets/sheet1.xml"


def book(*sheets: Sequence[Sequence[Any]], shape: Callable[[Any], None] = lambda book: None) -> bytes:
    """A file of sheets of rows, as openpyxl writes it; ``shape`` may change the workbook first."""
    made = openpyxl.Workbook()
    made.remove(made.active)
    for number, rows in enumerate(sheets, start=1):
        sheet = made.create_sheet(f"Sheet {number}")
        for row in rows:
            sheet.append(list(row))
    shape(made)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def with_members(
    content: bytes, changed: Mapping[str, bytes | None], *, add: Mapping[str, bytes] | None = None
) -> bytes:
    """The same file with members put in place of its own, left out (None), or added."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            replaced = changed.get(member.filename, old.read(member))
            if replaced is not None:
                new.writestr(member.filename, replaced)
        for name, data in (add or {}).items():
            new.writestr(name, data)
    return out.getvalue()


def with_sheet(rows: str, *, head: str = "") -> bytes:
    """One sheet whose rows are given as they stand in the file. Source: ECMA-376 part 1, 18.3.1."""
    sheet = (
        f'<?xml version="1.0" encoding="UTF-8"?>{head}<worksheet {NAMESPACE}><sheetData>{rows}</sheetData></worksheet>'
    )
    return with_members(book([["part"]]), {SHEET: sheet.encode()})


def zipped(members: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in members.items():
            new.writestr(name, data)
    return out.getvalue()
