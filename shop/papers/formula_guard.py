"""Text on its way into a spreadsheet, so that no spreadsheet computes it.

What begins like a formula: OWASP, CSV Injection (2025, with the line feed), and the full-width forms of the same signs.
"""

import re

FORMULA_MARKS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"

_MARKS = re.escape(FORMULA_MARKS)
_RISKY = re.compile(rf"'*\s*[{_MARKS}]")
_GUARDED = re.compile(rf"'+\s*[{_MARKS}]")


def risky(text: str) -> bool:
    """Whether a spreadsheet may take ``text`` for a formula, or the guard before it for a part of it."""
    return _RISKY.match(text) is not None


def guarded(text: str) -> str:
    """``text`` with an apostrophe before it where it needs one; `unguarded` gives back exactly what it was."""
    return f"'{text}" if risky(text) else text


def unguarded(text: str) -> str:
    """``text`` without the apostrophe that keeps a spreadsheet from computing it."""
    return text[1:] if _GUARDED.match(text) else text
