"""What one cell of a parts list says: a word, a number, or a thing the shop knows by name."""

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from difflib import get_close_matches
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from shop.methods.models import Condition, Finish, FinishRoute, Material, SizeClass
from shop.papers.formula_guard import unguarded
from shop.routes.laying import NoRouteError, Routes

SHOWN_OF_A_CELL = 40
LISTED = 12
LONGEST_NUMBER = 20
MOST_PIECES = 100_000

_WHOLE = re.compile(r"(\d+)(?:[.,]0{1,2})?", re.ASCII)
_FIGURE = re.compile(r"(\d*)(?:[.,](\d+))?", re.ASCII)
_GROUPED = re.compile(r"[1-9]\d{0,2}([.,])\d{3}", re.ASCII)


class Refused(Exception):
    """What is wrong, and what to do about it."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the shop has. A parts list can name nothing else."""

    finishes: Sequence[Finish]
    sizes: Sequence[SizeClass]
    routes: Routes

    def no_route(self, finish: Finish, material: str, direction: str, *, part: str) -> str:
        """Why ``finish`` cannot be put on, or taken off, ``material``; empty when it can."""
        try:
            steps = self.routes.of(finish, material, direction, part=part)
            if direction == FinishRoute.Direction.APPLY and any(step.remove_first for step in steps):
                self.routes.of(finish, material, FinishRoute.Direction.REMOVE, part=part)
        except NoRouteError as error:
            return str(error.messages[0])
        return ""


@dataclass(slots=True)
class Names:
    """Things found by name, whatever the case. ``unknown`` and ``none`` are sentences."""

    unknown: str
    none: str
    named: dict[str, Any] = field(default_factory=dict)
    folded: dict[str, Any] = field(default_factory=dict)
    shown: dict[str, str] = field(default_factory=dict)

    def add(self, name: str, thing: object, *others: str) -> None:
        """``others`` are further ways to write ``name``. Of two names alike but for their case, both stay apart."""
        self.named[name] = thing
        self.shown[key(name)] = name
        for text in (name, *others):
            self.folded.setdefault(key(text), thing)

    def find(self, text: str) -> Any:
        found = self.named.get(text, self.folded.get(key(text)))
        if found is None:
            raise Refused(f"{_(self.unknown) % {'cell': quoted(text)}} {self._advice(text)}")
        return found

    def _advice(self, text: str) -> str:
        if not self.named:
            return _(self.none)
        near = suggestion(text, self.shown)
        if near:
            return _("Did you mean “%(name)s”?") % {"name": near}
        names = ", ".join([*self.named][:LISTED]) + (", …" if len(self.named) > LISTED else "")
        return _("Choose one of these: %(names)s.") % {"names": names}


@dataclass(frozen=True, slots=True)
class Reading:
    """What the cells of one file are read with. ``grouping`` is the mark that may stand between thousands."""

    finishes: Names
    sizes: Names
    materials: Names
    conditions: Names
    grouping: str


Cell = Callable[[str, Reading], Any]


def reading(known: Known, *, grouping: str) -> Reading:
    finishes = Names(
        gettext_noop("%(cell)s is not a finish of this shop."),
        gettext_noop("There are no finishes yet; leave the cell empty."),
    )
    sizes = Names(
        gettext_noop("%(cell)s is not a size class of this shop."),
        gettext_noop("There are no size classes yet; leave the cell empty and give dm2 and kg."),
    )
    materials = Names(gettext_noop("%(cell)s is not a material."), "")
    conditions = Names(gettext_noop("%(cell)s is not a condition."), "")
    for names, rows in ((finishes, known.finishes), (sizes, known.sizes)):
        for row in rows:
            names.add(row.name, row)
    for names, choices in ((materials, Material), (conditions, Condition)):
        for choice in choices:
            names.add(str(choice.label), choice, choice.value)
    return Reading(finishes, sizes, materials, conditions, grouping)


def key(text: str) -> str:
    """``text`` for comparing: “Size_Class” is “size class”, “dm²” is “dm2”."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(folded.replace("_", " ").replace("-", " ").split())


def suggestion(text: str, names: Mapping[str, str]) -> str:
    """The one of ``names``, by their keys, that was most likely meant, or nothing."""
    near = get_close_matches(key(text)[:100], names, n=1)
    return names[near[0]] if near else ""


def quoted(text: str) -> str:
    return f"“{text[:SHOWN_OF_A_CELL]}…”" if len(text) > SHOWN_OF_A_CELL else f"“{text}”"


def tidy(cell: str) -> str:
    """A cell without needless space and without the mark that keeps a spreadsheet from computing it."""
    return " ".join(unguarded(cell.strip()).split())


def words(most: int) -> Cell:
    """A text of at most ``most`` characters."""

    def read(text: str, _reading: Reading) -> str:
        if len(text) > most:
            raise Refused(
                _("%(cell)s is too long: %(length)s characters. At most %(most)s are kept.")
                % {"cell": quoted(text), "length": len(text), "most": most}
            )
        if any(unicodedata.category(character) == "Cc" for character in text):
            raise Refused(_("There is a character in it that cannot be kept. Type the cell anew."))
        return str(text)

    return read


def whole(most: int) -> Cell:
    """A whole number from 0 to ``most``."""

    def read(text: str, _reading: Reading) -> int:
        _not_negative(text)
        match = _WHOLE.fullmatch(text)
        if match is None:
            raise Refused(_("%(cell)s is not a whole number. Give digits, such as 2.") % {"cell": quoted(text)})
        digits = match[1].lstrip("0") or "0"
        if len(digits) > len(str(most)) or int(digits) > most:
            raise Refused(_("%(cell)s is too much. Give at most %(most)s.") % {"cell": quoted(text), "most": most})
        return int(digits)

    return read


def figure(whole_digits: int, decimals: int) -> Cell:
    """A number not below 0 with at most so many digits before and after its point or comma."""

    def read(text: str, reading: Reading) -> Decimal:
        _not_negative(text)
        match = _FIGURE.fullmatch(text)
        if match is None or not any(match.groups()) or len(text) > LONGEST_NUMBER:
            raise Refused(_("%(cell)s is not a number. Give digits only, such as 12.5.") % {"cell": quoted(text)})
        _not_grouped(text, reading.grouping)
        number = Decimal(f"{match[1] or '0'}.{match[2] or '0'}")
        if number >= 10**whole_digits:
            raise Refused(
                _("%(cell)s is too much. Give less than %(most)s.") % {"cell": quoted(text), "most": 10**whole_digits}
            )
        if number != round(number, decimals):
            raise Refused(
                _("%(cell)s has too many decimals. Round it: %(rounded)s.")
                % {"cell": quoted(text), "rounded": round(number, decimals)}
            )
        return round(number, decimals)

    return read


def _not_negative(text: str) -> None:
    if text[0] in "-\N{MINUS SIGN}":
        raise Refused(_("%(cell)s is negative. Give 0 or more.") % {"cell": quoted(text)})


def _not_grouped(text: str, grouping: str) -> None:
    match = _GROUPED.fullmatch(text)
    other = "," if grouping == "." else "."
    if match is not None and match[1] == grouping:
        raise Refused(
            _("%(cell)s can be read in two ways. Write %(small)s or %(large)s.")
            % {"cell": quoted(text), "small": text.replace(grouping, other), "large": text.replace(grouping, "")}
        )


def finish(text: str, reading: Reading) -> Any:
    return reading.finishes.find(text)


def size_class(text: str, reading: Reading) -> Any:
    return reading.sizes.find(text)


def material(text: str, reading: Reading) -> Any:
    return reading.materials.find(text)


def condition(text: str, reading: Reading) -> Any:
    return reading.conditions.find(text)
