"""What a parts list would add, before anything is added."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from shop.methods.models import Condition, Material
from shop.text import quantity

SHOWN = 12


@dataclass(frozen=True, slots=True)
class Line:
    """A part as the preview shows it. ``indent`` is how deep it lies in others; ``assumed`` are fields the file left out."""

    name: str
    indent: int
    area: str
    pieces: int
    material: str
    size: str
    more: str
    condition: str
    old_finish: str
    finish: str
    assumed: frozenset[str]


#: What a part is taken for where the file says nothing, and where that changes its price.
ASSUMED = ("material", "condition")


@dataclass(frozen=True, slots=True)
class Preview:
    """``areas`` and ``finishes`` are names with the number of their parts; ``there`` are on the bike already by name."""

    name: str
    parts: int
    pieces: int
    areas: tuple[tuple[str, int], ...]
    finishes: tuple[tuple[str, int], ...]
    unsized: int
    there: int
    lines: tuple[Line, ...]

    @property
    def more(self) -> int:
        """Parts that are not shown."""
        return self.parts - len(self.lines)


def preview(
    name: str, rows: Sequence[Mapping[str, Any]], *, there: frozenset[tuple[str, str]] = frozenset()
) -> Preview:
    """What the file ``name`` with ``rows`` of `importing.read` would add to parts of ``there`` (area, name)."""
    areas = Counter(row.get("area_name") or _("without an area") for row in rows)
    finishes = Counter(str(row["finish"]) for row in rows if row.get("finish"))
    return Preview(
        name=name,
        parts=len(rows),
        pieces=sum(row.get("pieces", 1) for row in rows),
        areas=tuple(areas.items()),
        finishes=tuple(finishes.most_common()),
        unsized=sum(1 for row in rows if not _sized(row)),
        there=sum(1 for row in rows if (row.get("area_name", ""), row["name"]) in there),
        lines=tuple(_line(row) for row in rows[:SHOWN]),
    )


def _sized(row: Mapping[str, Any]) -> bool:
    return bool(row.get("size_class") or row.get("area") or row.get("weight"))


def _line(row: Mapping[str, Any]) -> Line:
    return Line(
        name=row["name"],
        indent=row.get("depth", 0),
        area=row.get("area_name", ""),
        pieces=row.get("pieces", 1),
        material=str(Material(row.get("material", Material.STEEL)).label),
        size=_size(row),
        more=_more(row),
        condition=str(Condition(row.get("condition", Condition.WORN)).label),
        old_finish=str(row.get("old_finish") or ""),
        finish=str(row.get("finish") or ""),
        assumed=frozenset(name for name in ASSUMED if name not in row),
    )


def _more(row: Mapping[str, Any]) -> str:
    """What else the file gives of a part, in words."""
    said = [
        quantity(row["strength"], "MPa") if row.get("strength") else "",
        _("%(figure)s thick") % {"figure": quantity(row["thickness"], "mm")} if row.get("thickness") else "",
        _("openings: %(figure)s") % {"figure": row["openings"]} if row.get("openings") else "",
        _("spokes: %(figure)s") % {"figure": row["spokes"]} if row.get("spokes") else "",
    ]
    return ", ".join(words for words in said if words)


def _size(row: Mapping[str, Any]) -> str:
    measured = [
        quantity(row[name], unit) for name, unit in (("area", "dm²"), ("weight", "kg")) if row.get(name) is not None
    ]
    return ", ".join([str(row["size_class"]), *measured] if row.get("size_class") else measured)
