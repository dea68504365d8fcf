"""A list somebody made in a spreadsheet: the bytes of a CSV or XLSX file in, rows of text out."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from quotes.desk.cells import tidy
from shop.papers.spreadsheets import ZIPPED, Number, SpreadsheetRefused, Unread, read_rows

MOST_BYTES = 2 * 1024 * 1024
DELIMITERS = ",;\t"
FILE_TYPES = (
    ".csv,.txt,.tsv,.xlsx,text/csv,text/tab-separated-values,"
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
)
TOO_LONG = gettext_noop("A cell is far too long. Perhaps a quotation mark opens it that nothing closes.")
UNPAIRED = gettext_noop(
    "The quotation marks do not pair up. Put a quotation mark at both ends of the cell, and double those inside it."
)
OTHER_FILES = {
    b"PK": gettext_noop("This packed file is damaged or no spreadsheet. Choose an XLSX or CSV file."),
    b"\xd0\xcf\x11\xe0": gettext_noop(
        "This is an old spreadsheet, or one with a password. Save it as XLSX or CSV, without a password, and choose"
        " that file."
    ),
    b"%PDF": gettext_noop("This is a PDF. Choose a CSV or XLSX file."),
    b"\xff\xfe": gettext_noop("This text is in UTF-16. Save the sheet as CSV in UTF-8 and choose that file."),
    b"\xfe\xff": gettext_noop("This text is in UTF-16. Save the sheet as CSV in UTF-8 and choose that file."),
}

Record = tuple[int, list[str]]


class WrongFile(Exception):
    """The file as a whole cannot be taken, or not from ``row`` on; 0 is the whole file."""

    def __init__(self, text: str, *, row: int = 0) -> None:
        self.row, self.text = row, text
        super().__init__(text)


@dataclass(frozen=True, slots=True)
class Records:
    """The rows that are not empty, tidied, each with its number as a spreadsheet counts.

    ``grouping`` is the mark that may stand between thousands in text. Reading on may raise `WrongFile`.
    """

    rows: Iterator[Record]
    grouping: str


def records(content: bytes, *, most: int) -> Records:
    """At most ``most`` rows, the headings among them. Raises `WrongFile`."""
    if len(content) > MOST_BYTES:
        raise WrongFile(_("The file is larger than 2 MB. A list is far smaller; is it the right file?"))
    if content.startswith(ZIPPED):
        return Records(_of_sheet(content, most), ",")  # its numbers come with a point, and are never asked about
    text = _text(content)
    delimiter = _delimiter(text)
    return Records(_of_text(text, delimiter, most), "." if delimiter == ";" else ",")


def _of_sheet(content: bytes, most: int) -> Iterator[Record]:
    try:
        found = read_rows(content, most=most)
    except SpreadsheetRefused as error:
        raise WrongFile(_too_many(most) if error.reason == "rows" else str(error)) from None
    return ((row, _tidied(cells)) for row, cells in found)


def _tidied(cells: Sequence[str]) -> list[str]:
    return [cell if isinstance(cell, Number | Unread) else tidy(cell) for cell in cells]


def _text(content: bytes) -> str:
    for beginning, sentence in OTHER_FILES.items():
        if content.startswith(beginning):
            raise WrongFile(_(sentence))
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise WrongFile(_("The file cannot be read as text. Save the sheet as CSV in UTF-8 and choose that file."))


def _delimiter(text: str) -> str:
    """What stands between the headings: the mark that is there most often, outside quotes."""
    first = next((line for line in io.StringIO(text, newline=None) if line.strip(f' \r\n"{DELIMITERS}')), text)
    outside = "".join(first.split('"')[::2])
    return max(DELIMITERS, key=outside.count)


def _of_text(text: str, delimiter: str, most: int) -> Iterator[Record]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True)
    row = 0
    told = 0
    try:
        for row, raw in enumerate(reader, start=1):
            record = [tidy(cell) for cell in raw]
            if not any(record):
                continue
            told += 1
            if told > most:
                raise WrongFile(_too_many(most), row=row)
            yield row, record
    except csv.Error as error:
        raise WrongFile(_(TOO_LONG if "field larger" in str(error) else UNPAIRED), row=row + 1) from None


def _too_many(most: int) -> str:
    """``most`` counts the headings too."""
    text = ngettext("There is more than %(most)s line.", "There are more than %(most)s lines.", most - 1)
    return text % {"most": f"{most - 1:,}"} + " " + _("Split the list.")
