"""Spreadsheets, safe in: an XLSX file to rows of text, in a child process with bounded time and memory."""

import json
import logging
import threading

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from shop.papers import bounded
from shop.papers import spreadsheets_child as child
from shop.papers.formula_guard import guarded

SECONDS = 10.0
# On top of the loaded library [bytes].
MEMORY = 384 * 2**20
AT_ONCE, PATIENCE = 2, 15.0
_places = threading.BoundedSemaphore(AT_ONCE)

ZIPPED = b"PK\x03\x04"

SENTENCES = {
    "kind": gettext_noop("This is a packed file, but no spreadsheet. Choose an XLSX or CSV file."),
    "open document": gettext_noop("This is an OpenDocument file. Save the sheet as XLSX or CSV and choose that file."),
    "damaged": gettext_noop(
        "This spreadsheet is damaged or cut short. Open it, save it anew as XLSX or CSV, then choose it again."
    ),
    "unpacks": gettext_noop(
        "This spreadsheet unpacks to far more than a list. Copy the list to a new sheet, save that, and choose it."
    ),
    "rows": gettext_noop("The sheet is too long. Delete what is below the list, or split the list."),
    "columns": gettext_noop("The sheet is too wide. Delete what is to the right of the list."),
    "empty": gettext_noop("There is nothing in this spreadsheet. Choose another file."),
    "heavy": gettext_noop("This spreadsheet takes too long to open. Copy the list to a new sheet and save that."),
    "busy": gettext_noop("Other files are being read just now. Wait a moment, then choose it again."),
}
NOT_COMPUTED = gettext_noop("There is a formula that nobody has computed. Type its result instead.")
COMPUTED_WRONG = gettext_noop("The formula here ends in an error (%(error)s). Correct it, or type the value.")

log = logging.getLogger("bareframe.papers")

Row = tuple[int, list[str]]


class Number(str):
    """A number as its cell holds it, whatever it looks like there: with a point, and without marks between thousands."""


class Unread(str):
    """In place of a cell that has no value: the sentence that says why, and what to do."""


class SpreadsheetRefused(Exception):
    """``reason`` is a key of `SENTENCES`; the text is its sentence."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(_(SENTENCES[reason]))


def read_rows(content: bytes, *, most: int, seconds: float = SECONDS, memory: int = MEMORY) -> list[Row]:
    """The rows, at most ``most``, that are not empty, of the first sheet that is not, each with its number there.

    Cells come as text: a number as `Number`, a day as 2026-03-14, a formula by the value it was saved with, or as
    `Unread`. Raises `SpreadsheetRefused`.
    """
    if not _places.acquire(timeout=PATIENCE):
        raise SpreadsheetRefused("busy")
    try:
        status, out = bounded.run(child.__file__, content, seconds, memory, most, seconds=seconds)
    except bounded.TimeIsUp as error:
        raise SpreadsheetRefused("heavy") from error
    finally:
        _places.release()
    if status != child.DONE:
        raise SpreadsheetRefused(_reason(status))
    return [(number, [_cell(cell) for cell in cells]) for number, cells in json.loads(out)]


def _reason(status: int) -> str:
    if status in child.REASONS:
        return child.REASONS[status]
    log.warning("A spreadsheet was given up: its process ended with status %s.", status)
    return "heavy"


def _cell(told: str | list[str] | None) -> str:
    if told is None or isinstance(told, str):
        return told or ""
    kind, text = told
    if kind == child.NUMBER:
        return Number(text)
    if kind == child.LITERAL:
        return guarded(text)  # the look of its cell is the guard; whoever reads rows takes off the other one
    return Unread(_(COMPUTED_WRONG) % {"error": text} if kind == child.ERROR else _(NOT_COMPUTED))
