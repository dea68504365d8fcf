"""How much room writing takes, so that labels fit their places without a renderer to ask."""

import unicodedata
from collections.abc import Sequence
from typing import NamedTuple

# Widths of Inter at size 1, rounded up [em]; measured from the font file, see its test.
WIDTHS = (
    ("ijlI .,:;!'’ ·", 0.32),
    ("tfr()/[]`|", 0.40),
    ("1", 0.45),
    ('-_^"*?s{}', 0.55),
    ("acekvxyz7JLhFnuo5", 0.605),
    ("EbdgpqBTPRSZ234689#0$£&+<=>~−×", 0.67),
    ("AVXYUHDCK€", 0.745),
    ("GNOQw", 0.83),
    ("mM", 0.91),
    ("W@%", 1.0),
    ("…", 0.91),
)
WIDTH = {letter: width for letters, width in WIDTHS for letter in letters}
OTHER = 1.02
BOLD = 1.06

SIZE = 13
LINE = 16
ELLIPSIS = "…"


class Room(NamedTuple):
    """A rectangle that something written takes."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "Room") -> bool:
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )


def width_of(words: str, *, size: float = SIZE, bold: bool = False) -> float:
    """Not less than Inter takes for them, in the picture's units."""
    return sum(_width(letter) for letter in words) * size * (BOLD if bold else 1)


def _width(letter: str) -> float:
    """An accent takes no room beside its letter."""
    return WIDTH.get(unicodedata.normalize("NFD", letter)[0], OTHER)


def room_of(words: str, x: float, y: float, *, anchor: str = "start", size: float = SIZE, bold: bool = False) -> Room:
    """What ``words`` take when written at ``x`` on the line ``y``."""
    width = width_of(words, size=size, bold=bold)
    left = x - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
    return Room(left, y - size * 0.8, left + width, y + size * 0.24)


def fit(words: str, room: float, *, size: float = SIZE, bold: bool = False) -> str:
    """``words``, or as many of their letters as fit with an ellipsis behind them."""
    if width_of(words, size=size, bold=bold) <= room:
        return words
    kept = words
    while kept and width_of(kept.rstrip() + ELLIPSIS, size=size, bold=bold) > room:
        kept = kept[:-1]
    return kept.rstrip() + ELLIPSIS


def wrap(words: str, room: float, *, lines: int, size: float = SIZE, bold: bool = False) -> list[str]:
    """``words`` in at most ``lines`` lines. A word too long for a line is broken; what does not fit ends in an ellipsis."""
    written: list[str] = []
    left = words.split()
    while left and len(written) < lines - 1:
        taken = _taken(left, room, size, bold)
        if width_of(left[0], size=size, bold=bold) > room:
            first, rest = _broken(left[0], room, size, bold)
            written.append(first)
            left[0] = rest
        else:
            written.append(" ".join(left[:taken]))
            left = left[taken:]
    if left:
        written.append(fit(" ".join(left), room, size=size, bold=bold))
    return written


def _taken(words: Sequence[str], room: float, size: float, bold: bool) -> int:
    """How many of the words fit on one line; at least one."""
    for count in range(len(words), 1, -1):
        if width_of(" ".join(words[:count]), size=size, bold=bold) <= room:
            return count
    return 1


def _broken(word: str, room: float, size: float, bold: bool) -> tuple[str, str]:
    """The word's first half with a hyphen, or less if that does not fit, and the rest of it."""
    count = (len(word) + 1) // 2
    while count > 1 and width_of(word[:count] + "-", size=size, bold=bold) > room:
        count -= 1
    return word[:count] + "-", word[count:]
