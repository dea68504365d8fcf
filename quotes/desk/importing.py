"""A restoration's parts from a CSV or XLSX file: bytes in, rows for `add_routed_parts` out, or what is wrong, row by row.

Nothing here reads the database: what finishes, size classes and routes the shop has comes in as `Known`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.desk import cells
from quotes.desk.cells import Cell, Known, Reading, Refused, key, quoted, suggestion
from quotes.desk.records import Records, WrongFile, records
from shop.methods.models import Finish, FinishRoute, Material
from shop.papers.spreadsheets import Unread

MOST_ROWS = 2_000
MOST_WRONG = 200
DEEPEST = 9
APPLY, REMOVE = FinishRoute.Direction.APPLY, FinishRoute.Direction.REMOVE


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


def headings() -> list[str]:
    """The headings in the reader's language."""
    return [_(column.heading) for column in COLUMNS]


def read(content: bytes, known: Known) -> PartsList:
    """Read a CSV or XLSX file: all its parts, or what is wrong with it. Never raises."""
    found = PartsList()
    try:
        _read(records(content, most=MOST_ROWS + 1), known, found)
    except WrongFile as error:
        found.wrong.append(Wrong(error.row, "", error.text))
    if found.wrong:
        found.rows.clear()
    return found


def _read(given: Records, known: Known, found: PartsList) -> None:
    row, first = next(given.rows, (0, []))
    if not row:
        raise WrongFile(_("The file is empty. It needs a line of headings, then a line for each part."))
    columns = _columns(row, first, found)
    if found.wrong:
        return
    reading = cells.reading(known, grouping=given.grouping)
    outline = _Outline()
    for row, record in given.rows:
        part = _part(row, record, columns, reading, found)
        outline.check(row, part, found)
        _check_routes(row, part, known, found)
        found.rows.append(part)
        if found.full:
            return
    if not found.rows:
        raise WrongFile(_("There are headings, but no parts below them. Give each part a line."))


def _columns(row: int, record: Sequence[str], found: PartsList) -> list[Column | None]:
    by_key = {key(name): column for column in COLUMNS for name in (column.heading, _(column.heading))}
    columns: list[Column | None] = []
    for name in record:
        if found.full:
            break
        column = by_key.get(key(name))
        if isinstance(name, Unread):
            found.wrong.append(Wrong(row, "", name))
        elif name and column is None:
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
            found.wrong.append(Wrong(row, "", cell if isinstance(cell, Unread) else _beyond(cell)))
            break
        try:
            part[column.field] = _value(cell, column, reading)
        except Refused as error:
            part[column.field] = None
            found.wrong.append(Wrong(row, _(column.heading), str(error)))
    if PART.field not in part:
        text = _("The part has no name. Give it one, or empty the row.")
        found.wrong.append(Wrong(row, _(PART.heading), text))
    return part


def _value(cell: str, column: Column, reading: Reading) -> Any:
    if isinstance(cell, Unread):
        raise Refused(cell)
    return column.read(cell, reading)


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
