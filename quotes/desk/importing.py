"""A restoration's parts from a CSV file: bytes in, rows for `add_routed_parts` out, or what is wrong, row by row.

Nothing here reads the database: what finishes, size classes and routes the shop has comes in as `Known`.
"""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.desk import cells
from quotes.desk.cells import Cell, Known, Reading, Refused, key, quoted, suggestion, tidy
from shop.methods.models import Condition, Finish, FinishRoute, Material
from shop.papers.formula_guard import guarded

MOST_BYTES = 2 * 1024 * 1024
MOST_ROWS = 2_000
MOST_WRONG = 200
DEEPEST = 9
DELIMITERS = ",;\t"
TOO_LONG = gettext_noop("A cell is far too long. Perhaps a quotation mark opens it that nothing closes.")
UNPAIRED = gettext_noop(
    "The quotation marks do not pair up. Put a quotation mark at both ends of the cell, and double those inside it."
)
APPLY, REMOVE = FinishRoute.Direction.APPLY, FinishRoute.Direction.REMOVE

OTHER_FILES = {
    b"PK\x03\x04": gettext_noop("This is a spreadsheet or a packed file. Save the sheet as CSV and choose that file."),
    b"\xd0\xcf\x11\xe0": gettext_noop("This is an old spreadsheet. Save the sheet as CSV and choose that file."),
    b"%PDF": gettext_noop("This is a PDF. Choose a CSV file."),
    b"\xff\xfe": gettext_noop("This text is in UTF-16. Save the sheet as CSV in UTF-8 and choose that file."),
    b"\xfe\xff": gettext_noop("This text is in UTF-16. Save the sheet as CSV in UTF-8 and choose that file."),
}


class Column(NamedTuple):
    """A heading, the field of a part it fills, and how its cells are read."""

    heading: str
    field: str
    read: Cell


COLUMNS = (
    Column(gettext_noop("part"), "name", cells.words(100)),
    Column(gettext_noop("area"), "area_name", cells.words(60)),
    Column(gettext_noop("pieces"), "pieces", cells.whole(cells.MOST_PIECES)),
    Column(gettext_noop("material"), "material", cells.material),
    Column(gettext_noop("size class"), "size_class", cells.size_class),
    Column(gettext_noop("dm2"), "area", cells.figure(6, 3)),
    Column(gettext_noop("kg"), "weight", cells.figure(6, 3)),
    Column(gettext_noop("openings"), "openings", cells.whole(cells.MOST_PIECES)),
    Column(gettext_noop("spokes"), "spokes", cells.whole(cells.MOST_PIECES)),
    Column(gettext_noop("condition"), "condition", cells.condition),
    Column(gettext_noop("strength"), "strength", cells.whole(10_000)),
    Column(gettext_noop("thickness"), "thickness", cells.figure(5, 1)),
    Column(gettext_noop("old finish"), "old_finish", cells.finish),
    Column(gettext_noop("finish"), "finish", cells.finish),
    Column(gettext_noop("depth"), "depth", cells.whole(DEEPEST)),
)
PART = COLUMNS[0]


class Wrong(NamedTuple):
    """Something wrong in a file. ``row`` counts as a spreadsheet does, headings included; 0 is the whole file."""

    row: int
    heading: str
    text: str

    def __str__(self) -> str:
        if self.heading:
            return _("row %(row)s, %(heading)s: %(text)s") % self._asdict()
        return _("row %(row)s: %(text)s") % self._asdict() if self.row else self.text


@dataclass(slots=True)
class PartsList:
    """The rows of a file, as `add_routed_parts` takes them. Nothing may be added while anything is wrong."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    wrong: list[Wrong] = field(default_factory=list)

    @property
    def full(self) -> bool:
        """So much is wrong that no more is told."""
        return len(self.wrong) >= MOST_WRONG


class _WrongFile(Exception):
    def __init__(self, text: str, *, row: int = 0) -> None:
        self.wrong = Wrong(row, "", text)
        super().__init__(text)


def headings() -> list[str]:
    """The headings in the reader's language."""
    return [_(column.heading) for column in COLUMNS]


def read(content: bytes, known: Known) -> PartsList:
    """Read a CSV file: all its parts, or what is wrong with it. Never raises."""
    found = PartsList()
    try:
        _read(_text(content), known, found)
    except _WrongFile as error:
        found.wrong.append(error.wrong)
    if found.wrong:
        found.rows.clear()
    return found


def _text(content: bytes) -> str:
    if len(content) > MOST_BYTES:
        raise _WrongFile(_("The file is larger than 2 MB. A parts list is far smaller; is it the right file?"))
    for beginning, sentence in OTHER_FILES.items():
        if content.startswith(beginning):
            raise _WrongFile(_(sentence))
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise _WrongFile(_("The file cannot be read as text. Save the sheet as CSV in UTF-8 and choose that file."))


def _read(text: str, known: Known, found: PartsList) -> None:
    delimiter = _delimiter(text)
    records = _records(text, delimiter)
    row, first = next(records, (0, []))
    if not row:
        raise _WrongFile(_("The file is empty. It needs a line of headings, then a line for each part."))
    columns = _columns(row, first, found)
    if found.wrong:
        return
    reading = cells.reading(known, grouping="." if delimiter == ";" else ",")
    outline = _Outline()
    for row, record in records:
        part = _part(row, record, columns, reading, found)
        outline.check(row, part, found)
        _check_routes(row, part, known, found)
        found.rows.append(part)
        if found.full:
            return
    if not found.rows:
        raise _WrongFile(_("There are headings, but no parts below them. Give each part a line."))


def _delimiter(text: str) -> str:
    """What stands between the headings: the mark that is there most often, outside quotes."""
    first = next((line for line in io.StringIO(text, newline=None) if line.strip(f' \r\n"{DELIMITERS}')), text)
    outside = "".join(first.split('"')[::2])
    return max(DELIMITERS, key=outside.count)


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """The rows that are not empty, tidied, each with its number."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True)
    row = 0
    told = 0
    try:
        for row, raw in enumerate(reader, start=1):
            record = [tidy(cell) for cell in raw]
            if not any(record):
                continue
            told += 1
            if told > MOST_ROWS + 1:
                raise _WrongFile(_("There are more than 2,000 parts. Split the list."), row=row)
            yield row, record
    except csv.Error as error:
        raise _WrongFile(_(TOO_LONG if "field larger" in str(error) else UNPAIRED), row=row + 1) from None


def _columns(row: int, record: Sequence[str], found: PartsList) -> list[Column | None]:
    by_key = {key(name): column for column in COLUMNS for name in (column.heading, _(column.heading))}
    columns: list[Column | None] = []
    for name in record:
        if found.full:
            break
        column = by_key.get(key(name))
        if name and column is None:
            found.wrong.append(Wrong(row, "", _unknown_heading(name)))
        elif column is not None and column in columns:
            found.wrong.append(Wrong(row, "", _("The heading %(name)s is there twice.") % {"name": quoted(name)}))
        columns.append(column)
    if PART not in columns and not found.wrong:
        text = _("There is no heading “%(part)s”. The first line must hold the headings.") % {"part": _(PART.heading)}
        found.wrong.append(Wrong(row, "", text))
    return columns


def _unknown_heading(name: str) -> str:
    near = suggestion(name, {key(heading): heading for heading in headings()})
    advice = (
        _("Did you mean “%(name)s”?") % {"name": near}
        if near
        else _("The headings are: %(names)s.") % {"names": ", ".join(headings())}
    )
    return _("The heading %(name)s is not known.") % {"name": quoted(name)} + f" {advice}"


def _part(
    row: int, record: Sequence[str], columns: Sequence[Column | None], reading: Reading, found: PartsList
) -> dict[str, Any]:
    part: dict[str, Any] = {}
    for place, cell in enumerate(record):
        column = columns[place] if place < len(columns) else None
        if not cell:
            continue
        if column is None:
            found.wrong.append(Wrong(row, "", _beyond(cell)))
            break
        try:
            part[column.field] = column.read(cell, reading)
        except Refused as error:
            part[column.field] = None
            found.wrong.append(Wrong(row, _(column.heading), str(error)))
    if PART.field not in part:
        text = _("The part has no name. Give it one, or empty the row.")
        found.wrong.append(Wrong(row, _(PART.heading), text))
    return part


def _beyond(cell: str) -> str:
    return (
        _("%(cell)s stands below no heading.") % {"cell": quoted(cell)}
        + " "
        + _("Give the column a heading. If a decimal comma split a number, put the number in quotation marks.")
    )


@dataclass(slots=True)
class _Outline:
    """A part lies at most one deeper than the one above it."""

    above: int = -1

    def check(self, row: int, part: dict[str, Any], found: PartsList) -> None:
        depth = part.get("depth", 0)
        if depth is not None and depth > self.above + 1:
            text = (
                _("%(depth)s is too deep here. Give at most %(most)s: one deeper than the part above.")
                if self.above >= 0
                else _("The first part cannot belong to another. Give 0.")
            )
            found.wrong.append(Wrong(row, _("depth"), text % {"depth": depth, "most": self.above + 1}))
        self.above = DEEPEST if depth is None else depth


def _check_routes(row: int, part: dict[str, Any], known: Known, found: PartsList) -> None:
    material = part.get("material", Material.STEEL)
    if material is None:
        return
    for name, direction in (("old_finish", REMOVE), ("finish", APPLY)):
        finish: Finish | None = part.get(name)
        if finish is None:
            continue
        reason = known.no_route(finish, material, direction, part=part.get("name") or "")
        if reason:
            found.wrong.append(Wrong(row, _(name.replace("_", " ")), reason))


def sample(known: Known, *, decimal_comma: bool) -> bytes:
    """A parts list of three parts to begin with, in names of this shop, so that it can be read as it is."""
    steel, sound, worn = Material.STEEL, Condition.SOUND, Condition.WORN
    put_on, taken_off = _usable(known, steel, APPLY), _usable(known, steel, REMOVE)
    size = known.sizes[0].name if known.sizes else ""
    front, wheel = _("Front fork"), _("Front wheel")
    rows: list[dict[str, object]] = [
        {"name": _("Fork yoke, lower"), "area_name": front, "size_class": size, "openings": 2, "condition": worn.label}
        | {"old_finish": taken_off, "finish": put_on, "depth": 0},
        {"name": _("Yoke nut"), "area_name": front, "pieces": 2, "area": Decimal("0.35"), "weight": Decimal("0.06")}
        | {"strength": 800, "thickness": Decimal("6.5"), "condition": sound.label, "depth": 1},
        {
            "name": _("Wheel rim, front"),
            "area_name": wheel,
            "area": Decimal(24),
            "weight": Decimal("1.9"),
            "spokes": 40,
            "depth": 0,
        },
    ]
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=";" if decimal_comma else ",", lineterminator="\r\n")
    writer.writerow(headings())
    for row in rows:
        full = {"pieces": 1, "material": steel.label} | row
        writer.writerow([_written(full.get(column.field, ""), decimal_comma) for column in COLUMNS])
    return text.getvalue().encode("utf-8-sig")


def _written(value: object, decimal_comma: bool) -> str:
    text = str(value)
    return text.replace(".", ",") if decimal_comma and isinstance(value, Decimal) else guarded(text)


def _usable(known: Known, material: str, direction: str) -> str:
    names = (f.name for f in known.finishes if not known.no_route(f, material, direction, part=""))
    return next(names, "")
