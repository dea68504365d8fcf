"""Every figure carries where it came from."""

from collections.abc import Iterator
from decimal import Decimal
from typing import NamedTuple


class Figure(NamedTuple):
    """A value with its unit and either the formula and inputs it was computed from, or the source it was given by."""

    name: str
    value: Decimal
    unit: str
    formula: str = ""
    inputs: tuple["Figure", ...] = ()
    source: str = ""

    def walk(self, depth: int = 0) -> Iterator[tuple[int, "Figure"]]:
        """This figure and all below it, top down, with their depth."""
        yield depth, self
        for figure in self.inputs:
            yield from figure.walk(depth + 1)


def given(name: str, value: Decimal, unit: str, source: str = "") -> Figure:
    """A figure that was not computed here."""
    return Figure(name, value, unit, "", (), source)


def total(name: str, unit: str, figures: tuple[Figure, ...], formula: str = "sum_1") -> Figure:
    """The sum of figures."""
    return Figure(name, sum((f.value for f in figures), Decimal(0)), unit, formula, figures)
