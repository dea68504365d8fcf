"""The process in which a spreadsheet is opened, where that may fail without harm.

An XLSX file comes in on standard input. Out goes the first sheet that holds anything, as JSON: its rows that are not
empty, each with its number and its cells. A cell is text, null for nothing, or a pair: a kind of `KINDS`, and text.
It imports nothing of ours by name: it is run by its path, as `photographs_child` is.
"""

import importlib.util
import io
import json
import os
import sys
import warnings
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any

# Exit statuses beside those of any interpreter; the words are reasons of ``SpreadsheetRefused``.
DONE, MEMORY = 0, 3
REASONS = {4: "kind", 5: "damaged", 6: "unpacks", 7: "rows", 8: "columns", 9: "empty", 10: "open document"}
STATUSES = {reason: status for status, reason in REASONS.items()}
NUMBER, LITERAL, ERROR, FORMULA = KINDS = ("number", "literal", "error", "formula")

MOST_MEMBERS = 1_000
LARGEST_UNPACKED = 64 * 2**20
#: Further down than this nobody looks, however empty the rows are; see also what the caller allows.
MOST_SCANNED = 50_000
MOST_COLUMNS = 200
#: Text of one cell, and of all together [characters].
LONGEST_CELL, MOST_TEXT = 32_767, 8 * 10**6
#: What a spreadsheet shows of a number at most.
SIGNIFICANT = ".15g"

Cell = str | tuple[str, str] | None
Row = tuple[int, list[Cell]]


class Refused(Exception):
    """Its text is one of ``REASONS``."""


def main(seconds: float, memory: int, most_rows: int) -> int:
    os.environ["OPENPYXL_LXML"] = "False"  # where lxml is there too, the library would parse without its guard
    import openpyxl.worksheet._read_only  # before the bound: what the library itself takes is not the file's

    # What a file says of the size of a sheet is not to be relied on, and looking for it may take reading all of it.
    openpyxl.worksheet._read_only.ReadOnlyWorksheet._get_size = lambda _sheet: None
    try:
        content = sys.stdin.buffer.read()
        _beside("pdf_child").bound(seconds=seconds, memory=memory)
        sys.stdout.write(json.dumps(work(content, most_rows=most_rows, load=openpyxl.load_workbook)))
        sys.stdout.flush()
    except MemoryError:
        return MEMORY
    except Refused as error:
        return STATUSES[str(error)]
    except Exception:  # whatever a hostile file makes the library raise
        return STATUSES["damaged"]
    return DONE


def work(content: bytes, *, most_rows: int, load: Any) -> list[Row]:
    _look_into(content)
    warnings.simplefilter("ignore")  # of what it does not read
    book = load(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
    for place, sheet in enumerate(book.worksheets):
        rows, blanks = _rows(sheet, most_rows)
        if blanks:
            _tell_formulas(load(io.BytesIO(content), read_only=True, keep_links=False).worksheets[place], rows, blanks)
        if found := [(number, cells) for number, cells in sorted(rows.items()) if any(cells)]:
            return found
    raise Refused("empty")


def _look_into(content: bytes) -> None:
    """What the file says of itself before anything is unpacked; a member is never unpacked beyond it."""
    try:
        members = zipfile.ZipFile(io.BytesIO(content)).infolist()
    except zipfile.BadZipFile:
        raise Refused("damaged") from None
    if len(members) > MOST_MEMBERS or sum(member.file_size for member in members) > LARGEST_UNPACKED:
        raise Refused("unpacks")
    names = {member.filename for member in members}
    if "[Content_Types].xml" not in names:
        raise Refused("open document" if "mimetype" in names and "content.xml" in names else "kind")
    if not any(name.startswith("xl/") for name in names):
        raise Refused("kind")


def _rows(sheet: Any, most_rows: int) -> tuple[dict[int, list[Cell]], dict[int, list[int]]]:
    """Rows with anything in them by their number, and where in a row there is a cell that shows nothing."""
    rows: dict[int, list[Cell]] = {}
    blanks: dict[int, list[int]] = {}
    filled, text = 0, 0
    for number, cells in _numbered(sheet):
        told = [_told(cell) for cell in cells]
        blank = [place for place, cell in enumerate(cells) if told[place] is None and hasattr(cell, "_style_id")]
        if blank:
            blanks[number] = blank
        if any(told):
            filled += 1
            if filled > most_rows:
                raise Refused("rows")
            text += sum(len(cell) for cell in told if isinstance(cell, str))
            if text > MOST_TEXT:
                raise Refused("unpacks")
        if blank or any(told):
            rows[number] = told
    return rows, blanks


def _numbered(sheet: Any) -> Iterator[tuple[int, list[Any]]]:
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        if number > MOST_SCANNED:
            raise Refused("rows")
        if len(cells) > MOST_COLUMNS and any(cell.value is not None for cell in cells[MOST_COLUMNS:]):
            raise Refused("columns")
        yield number, list(cells[:MOST_COLUMNS])


def _tell_formulas(sheet: Any, rows: dict[int, list[Cell]], blanks: dict[int, list[int]]) -> None:
    """Formulas that nobody has computed look empty: say that there is one."""
    for number, cells in _numbered(sheet):
        for place in blanks.get(number, ()):
            if place < len(cells) and cells[place].data_type == "f":
                rows[number][place] = (FORMULA, "")


def _told(cell: Any) -> Cell:
    value = cell.value
    if value is None or value == "":
        return None
    if cell.data_type == "e":
        return ERROR, str(value)
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int | float):
        return NUMBER, f"{Decimal(format(value, SIGNIFICANT)):f}"
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, date | time):
        return value.isoformat()
    text = str(value)
    if len(text) > LONGEST_CELL:
        raise Refused("unpacks")
    return (LITERAL, text) if cell.style_array.quotePrefix else text


def _beside(name: str) -> Any:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


if __name__ == "__main__":
    os._exit(main(float(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])))
