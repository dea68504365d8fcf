"""Of which machines a piece of evidence or a source speaks: years, markets, frame numbers.

A frame number is letters and figures: its serial number is the last run of digits, and what stands before it is its
series. Spaces, hyphens and other marks do not count, nor do large and small letters, nor what follows the serial number.
``CB57-10482`` is the serial number 10482 of the series CB57. A range from ``CB57-10000`` to ``CB57-19999`` speaks of the
numbers of that series only; one from ``10000`` to ``19999`` names no series and speaks of the serial numbers alone. So
9 is before 10, as it was stamped, and a number of another series is never taken for one in between.

What is limited speaks only where the machine is known to lie within: a machine without a year is of no year.
"""

import re
from typing import NamedTuple, Protocol

from django.utils.translation import gettext as _

from shop.restorations.models import Machine

_SERIAL = re.compile(r"(.*?)(\d+)[^\d]*", re.ASCII)


class Limited(Protocol):
    """What may be limited to years and markets."""

    years_from: int | None
    years_to: int | None
    markets: str


class Number(NamedTuple):
    """A frame number as it is compared."""

    series: str
    serial: int


def number_of(text: str) -> Number | None:
    """``text`` as a frame number; None where there is no digit in it.

    >>> number_of("cb57 - 10482"), number_of("10000"), number_of("none")
    (Number(series='CB57', serial=10482), Number(series='', serial=10000), None)
    """
    found = _SERIAL.fullmatch(text.strip())
    if found is None:
        return None
    return Number("".join(re.findall(r"[^\W_]", found[1])).upper(), int(found[2]))


def why_silent(item: Limited, machine: Machine) -> str:
    """Why ``item`` does not speak of ``machine``, in a sentence; empty when it does."""
    return _outside_years(item, machine) or _outside_markets(item, machine) or _outside_numbers(item, machine)


def speaks_of(item: Limited, machine: Machine) -> bool:
    """Whether ``item`` speaks of ``machine``."""
    return not why_silent(item, machine)


def _outside_years(item: Limited, machine: Machine) -> str:
    first, last = item.years_from, item.years_to
    if first is None and last is None:
        return ""
    if machine.year is None:
        return _("It speaks of certain years only, and the year of this machine is not known.")
    if (first is not None and machine.year < first) or (last is not None and machine.year > last):
        return _("It speaks of other years; this machine is of %(year)s.") % {"year": machine.year}
    return ""


def markets_of(text: str) -> set[str]:
    """The markets named in ``text``, separated by commas, as they are compared."""
    return {" ".join(name.split()).casefold() for name in text.split(",") if name.strip()}


def _outside_markets(item: Limited, machine: Machine) -> str:
    named = markets_of(item.markets)
    if not named:
        return ""
    if not machine.market.strip():
        return _("It speaks of certain markets only, and where this machine was first sold is not known.")
    if markets_of(machine.market) & named:
        return ""
    return _("It speaks of other markets; this machine was first sold in %(market)s.") % {"market": machine.market}


def _outside_numbers(item: Limited, machine: Machine) -> str:
    first, last = (number_of(getattr(item, name, "")) for name in ("numbers_from", "numbers_to"))
    if first is None and last is None:
        return ""
    number = number_of(machine.frame_number)
    if number is None:
        return _("It speaks of certain frame numbers only, and that of this machine is not known.")
    apart = any(bound is not None and bound.series not in {"", number.series} for bound in (first, last))
    before = first is not None and number.serial < first.serial
    after = last is not None and number.serial > last.serial
    if apart or before or after:
        return _("It speaks of other frame numbers; this machine is %(number)s.") % {"number": machine.frame_number}
    return ""
