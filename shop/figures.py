"""Figures as people type them, and as our own pages print them: read back in the language of the page."""

import re
import unicodedata
from decimal import Decimal

from babel import Locale
from babel.numbers import get_currency_symbol

_APOSTROPHES = "'\N{RIGHT SINGLE QUOTATION MARK}"
_HYPHENS = "-\N{MINUS SIGN}"
_CODE = re.compile(r"\b[A-Z]{3}\b")
_PLAIN = re.compile(r"\d+", re.ASCII)
_GROUPED = re.compile(r"[1-9]\d{0,2}(?:(.)\d{2,3})*?(.)\d{3}", re.ASCII)


class NotAFigureError(ValueError):
    """What was typed is no figure."""


class TwoWaysError(ValueError):
    """What was typed is one figure with the mark between thousands, and another with it before decimals."""

    def __init__(self, small: str, large: str) -> None:
        super().__init__(f"{small} or {large}")
        self.small, self.large = small, large


def read(text: str, *, language: str, currency: str = "") -> Decimal:
    """The figure that ``text`` says, with whatever marks between thousands, and the sign of its ``currency``.

    A mark that comes once and has three digits after it, such as that of 1,234, is what ``language`` (a locale) uses it
    for. Where that uses it for nothing, `TwoWaysError` is raised rather than a guess made.
    """
    locale = Locale.parse(language)
    digits, negative = _bare(text, locale, currency)
    whole, _mark, decimals = _split(digits, locale)
    number = Decimal(f"{_ungrouped(whole)}.{decimals or '0'}") if decimals else Decimal(_ungrouped(whole))
    return -number if negative else number


def _bare(text: str, locale: Locale, currency: str) -> tuple[str, bool]:
    """Digits and marks alone: every kind of space between thousands is one space, apostrophes likewise."""
    if currency:
        text = text.replace(get_currency_symbol(currency, locale), " ")
    text = _CODE.sub(" ", text)
    kept = [
        " " if unicodedata.category(one) in {"Zs", "Sc"} else one for one in text if unicodedata.category(one) != "Cf"
    ]
    bare = "".join(kept).strip()
    negative = bare[:1] in _HYPHENS or bare[-1:] in _HYPHENS if bare else False
    if negative:
        bare = bare[1:] if bare[0] in _HYPHENS else bare[:-1]
    for mark in _APOSTROPHES:
        bare = bare.replace(mark, " ")
    return bare.strip(), negative


def _split(digits: str, locale: Locale) -> tuple[str, str, str]:
    """What stands before the decimals, the mark, and the decimals."""
    marks = [one for one in digits if one in ".,"]
    if not digits:
        raise NotAFigureError(digits)
    if not marks or (len(marks) > 1 and len(set(marks)) == 1):
        return digits, "", ""
    last = marks[-1]
    if marks.count(last) > 1:
        raise NotAFigureError(digits)
    whole, mark, decimals = digits.rpartition(last)
    if not (_PLAIN.fullmatch(decimals) or not decimals) or not (whole or decimals):
        raise NotAFigureError(digits)
    if len(marks) == 1 and " " not in whole and _GROUPED.fullmatch(digits):
        return _one_mark(whole, mark, decimals, locale)
    return whole, mark, decimals


def _one_mark(whole: str, mark: str, decimals: str, locale: Locale) -> tuple[str, str, str]:
    symbols = locale.number_symbols["latn"]
    if mark == symbols["decimal"]:
        return whole, mark, decimals
    if mark == symbols["group"]:
        return whole + decimals, "", ""
    raise TwoWaysError(f"{whole}{symbols['decimal']}{decimals}", whole + decimals)


def _ungrouped(whole: str) -> str:
    if not whole or _PLAIN.fullmatch(whole):
        return whole or "0"
    marks = {one for one in whole if not one.isdigit()}
    if len(marks) != 1 or not _GROUPED.fullmatch(whole):
        raise NotAFigureError(whole)
    return whole.replace(marks.pop(), "")
