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


# A quote makes tens of thousands of figures; the constructor of a NamedTuple takes twice as long as its tuple's.
_new = tuple.__new__


def given(name: str, value: Decimal, unit: str, source: str = "") -> Figure:
    """A figure that was not computed here."""
    return _new(Figure, (name, value, unit, "", (), source))


def computed(name: str, value: Decimal, unit: str, formula: str, inputs: tuple[Figure, ...]) -> Figure:
    """A figure with the formula variant and the inputs it was computed from."""
    return _new(Figure, (name, value, unit, formula, inputs, ""))


def total(name: str, unit: str, figures: tuple[Figure, ...], formula: str = "sum_1") -> Figure:
    """The sum of figures."""
    return computed(name, sum((f.value for f in figures), Decimal(0)), unit, formula, figures)
