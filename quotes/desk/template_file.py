"""A parts list to begin with, as CSV or XLSX, in names of this shop, so that it can be read as it is."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from quotes.desk.cells import Known
from quotes.desk.importing import APPLY, COLUMNS, MOST_ROWS, REMOVE, headings
from quotes.desk.tables import as_csv
from shop.methods.models import Condition, Material
from shop.papers.workbooks import Book, Sheet, Value, sheet_name

FIELDS = [column.field for column in COLUMNS]
WHOLE = {"pieces", "openings", "spokes", "strength", "depth"}
DECIMALS = {"area", "weight", "thickness"}
WIDTHS = {"name": 28, "area_name": 18, "size_class": 20, "material": 16, "old_finish": 24, "finish": 24}
USUAL_WIDTH = 11
HINTS = {
    "name": gettext_noop("What it is called. Only this is needed: the rest may stay empty."),
    "area_name": gettext_noop("Where on the bike it sits, such as front fork."),
    "pieces": gettext_noop("How many of them. Empty means 1."),
    "material": gettext_noop("Empty means steel."),
    "size_class": gettext_noop("Stands in for dm2 and kg, where nobody has measured."),
    "area": gettext_noop("Surface of one piece, in dm²."),
    "weight": gettext_noop("Weight of one piece, in kg."),
    "openings": gettext_noop("Holes and threads to mask, on one piece."),
    "spokes": gettext_noop("Spokes of one wheel."),
    "condition": gettext_noop("Empty means worn."),
    "strength": gettext_noop("Tensile strength in MPa; plating needs it."),
    "thickness": gettext_noop("Thickest section in mm."),
    "old_finish": gettext_noop("The finish that has to come off first."),
    "finish": gettext_noop("The finish that goes on."),
    "depth": gettext_noop("1 lies in the part above it, 2 in that one, and so on."),
}


def example_rows(known: Known) -> list[list[Value]]:
    """Three parts, in the order of the columns."""
    steel, sound, worn = Material.STEEL, Condition.SOUND, Condition.WORN
    put_on, taken_off = _usable(known, steel, APPLY), _usable(known, steel, REMOVE)
    size = known.sizes[0].name if known.sizes else ""
    front = _("Front fork")
    rows: list[dict[str, Any]] = [
        {"name": _("Fork yoke, lower"), "area_name": front, "size_class": size, "openings": 2, "condition": worn.label}
        | {"old_finish": taken_off, "finish": put_on, "depth": 0},
        {"name": _("Yoke nut"), "area_name": front, "pieces": 2, "area": Decimal("0.35"), "weight": Decimal("0.06")}
        | {"strength": 800, "thickness": Decimal("6.5"), "condition": sound.label, "depth": 1},
        {"name": _("Wheel rim, front"), "area_name": _("Front wheel"), "area": Decimal(24), "weight": Decimal("1.9")}
        | {"spokes": 40, "depth": 0},
    ]
    whole: list[dict[str, Any]] = [{"pieces": 1, "material": steel.label} | row for row in rows]
    return [[row.get(name) for name in FIELDS] for row in whole]


def _usable(known: Known, material: str, direction: str) -> str:
    names = (f.name for f in known.finishes if not known.no_route(f, material, direction, part=""))
    return next(names, "")


def sample_csv(known: Known, *, comma: bool) -> bytes:
    return as_csv(headings(), example_rows(known), comma=comma)


def sample_xlsx(known: Known) -> bytes:
    """The same as a spreadsheet, with lists to choose from for finishes, size classes, materials and conditions."""
    book = Book()
    parts = book.add(_("parts"))
    parts.head(headings())
    for number, row in enumerate(example_rows(known), start=1):
        for column, value in enumerate(row):
            parts.put(number, column, value)
    _offer(book, parts, known)
    for column, name in enumerate(FIELDS):
        parts.sheet.set_column(column, column, WIDTHS.get(name, USUAL_WIDTH))
    parts.sheet.set_landscape()
    parts.sheet.fit_to_pages(1, 0)
    return book.content()


def _offer(book: Book, parts: Sheet, known: Known) -> None:
    """What each column takes, said where the cell is; lists come from a second sheet, as they may be long."""
    title = sheet_name(_("to choose from"))
    choices = book.add(title)
    lists = _lists(known)
    for place, (name, words) in enumerate(lists.items()):
        choices.put(0, place, headings()[FIELDS.index(name)], bold=True, bottom=1)
        for number, word in enumerate(words, start=1):
            choices.put(number, place, word)
    choices.set_widths()
    for column, name in enumerate(FIELDS):
        wanted: dict[str, Any] = _numbers(name)
        if name in lists:
            letter = chr(ord("A") + [*lists].index(name))
            wanted = {"validate": "list", "source": f"='{title}'!${letter}$2:${letter}${len(lists[name]) + 1}"}
            wanted["error_message"] = _("Choose one of the list, or leave it empty.")
        hint = {"input_title": headings()[column][:32], "input_message": _(HINTS[name])}
        parts.sheet.data_validation(1, column, MOST_ROWS, column, wanted | hint)


def _lists(known: Known) -> dict[str, Sequence[str]]:
    finishes = [finish.name for finish in known.finishes]
    found: dict[str, Sequence[str]] = {
        "material": [str(choice.label) for choice in Material],
        "size_class": [size.name for size in known.sizes],
        "condition": [str(choice.label) for choice in Condition],
        "old_finish": finishes,
        "finish": finishes,
    }
    return {name: words for name, words in found.items() if words}


def _numbers(name: str) -> dict[str, Any]:
    if name in WHOLE:
        wanted = {"validate": "integer", "criteria": ">=", "value": 0}
        return wanted | {"error_message": _("Give a whole number, 0 or more.")}
    if name in DECIMALS:
        wanted = {"validate": "decimal", "criteria": ">=", "value": 0}
        return wanted | {"error_message": _("Give a number, 0 or more.")}
    return {"validate": "any"}
