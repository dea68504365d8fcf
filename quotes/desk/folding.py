"""Finding a text in a column whatever the case and the accents, alike on both engines and without asking their locale.

Each letter of the text becomes the class of all letters that read alike: "mu" is ``[mM…][uUüÜ…]``, for SQLite as GLOB, for
PostgreSQL as a regular expression. Nothing is installed in the database and nothing stored twice. A letter that stands
for two ("ß") is like itself only.
"""

import re
import unicodedata
from collections import defaultdict
from functools import cache
from typing import Any, Literal

from django.db.models import BooleanField, Func, Value
from django.db.models.functions import Replace

#: Latin, Greek and Cyrillic with all their accents.
LETTERS = (range(0x41, 0x250), range(0x370, 0x530), range(0x1E00, 0x2000))
#: What stands between the figures of a number stamped, dialled or written down.
BETWEEN = " -./()"
#: Holds something beyond ASCII, for GLOB.
BEYOND = "*[^ -~]*"
CONTROLS = dict.fromkeys((*range(32), 127), " ")


def fold(text: str) -> str:
    """In small letters and without accents: ``fold("Łańcuch ÉMAIL")`` is "łancuch email"."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def cleaned(text: str, *, longest: int) -> str:
    """What somebody typed, on one line, without what no keyboard sends."""
    return " ".join(unicodedata.normalize("NFC", text).translate(CONTROLS).split())[:longest].strip()


def compact(text: str) -> str:
    """A number without what stands between its figures."""
    return text.translate({ord(letter): None for letter in BETWEEN})


@cache
def _alike() -> dict[str, str]:
    letters = defaultdict(list)
    for letter in (chr(code) for codes in LETTERS for code in codes):
        if letter.isalpha() and len(plain := fold(letter)) == 1:
            letters[plain].append(letter)
    return {plain: "".join(all_of_it) for plain, all_of_it in letters.items()}


def classes(text: str) -> list[str]:
    """For each letter of a text those it may be."""
    found: list[str] = []
    for letter in text:
        plain = fold(letter)
        cases = dict.fromkeys(one for one in (letter, letter.lower(), letter.upper()) if len(one) == 1)
        found.append(_alike().get(plain) or "".join(cases))
    return found


class Holds(Func):
    """Whether a column holds ``text``; or, with ``at``, whether it begins so or is just that."""

    output_field = BooleanField()

    def __init__(self, column: Any, text: str, *, at: Literal["anywhere", "beginning", "whole"] = "anywhere") -> None:
        self.letters, self.plain = classes(text), fold(text)
        self.begins, self.ends = at != "anywhere", at == "whole"
        super().__init__(column)

    def as_sqlite(self, compiler: Any, connection: Any, **_: Any) -> Any:  # noqa: ARG002  # Django calls it so
        """GLOB where there is a letter beyond ASCII, and LIKE elsewhere, which is ten times as fast and there says the same."""
        column, given = compiler.compile(self.get_source_expressions()[0])
        pattern = "".join(f"[{letters}]" if letters not in "]^-" else letters for letters in self.letters)
        sql, params = f"({column} GLOB %s AND {column} GLOB %s)", [*given, BEYOND, *given, self._around(pattern, "*")]
        if self.plain.isascii():
            plain = self._around(re.sub(r"([%_\\])", r"\\\1", self.plain), "%")
            sql, params = f"({column} LIKE %s ESCAPE '\\' OR {sql})", [*given, plain, *params]
        return sql, params

    def _around(self, pattern: str, anything: str) -> str:
        return ("" if self.begins else anything) + pattern + ("" if self.ends else anything)

    def as_postgresql(self, compiler: Any, connection: Any, **_: Any) -> Any:  # noqa: ARG002  # Django calls it so
        column, given = compiler.compile(self.get_source_expressions()[0])
        pattern = "".join(f"[{letters}]" if letters.isalnum() else f"\\{letters}" for letters in self.letters)
        pattern = ("^" if self.begins else "") + pattern + ("$" if self.ends else "")
        return f"({column} ~ %s)", [*given, pattern]


def without_gaps(column: Any) -> Any:
    """A column of numbers without what stands between their figures."""
    for letter in BETWEEN:
        column = Replace(column, Value(letter), Value(""))
    return column
