"""The shop's one currency: what the settings name, else what the shop said when it was set up, else the euro.

It is asked for wherever money is shown. Once the shop has said it, it never changes, so it is kept for the process; until
then it is looked up once for each request.
"""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.signals import request_finished, request_started

UNSAID = "EUR"

_ask: Callable[[], str] = str
_said = ""
_within = False
_looked = False


def register(ask: Callable[[], str]) -> None:
    """Let the room that keeps the shop say how its currency is looked up; "" means it has not said yet."""
    global _ask
    _ask = ask


def code() -> str:
    """The ISO 4217 code."""
    return fixed() or UNSAID


def fixed() -> str:
    """The ISO 4217 code that cannot change any more; "" where nobody has said one."""
    global _said, _looked
    if settings.CURRENCY:
        return str(settings.CURRENCY)
    if not _said and not _looked:
        _said, _looked = _ask(), _within
    return _said


def forget() -> None:
    """Look again: the shop has just said it."""
    global _said, _looked
    _said, _looked = "", False


def _begin(**_: Any) -> None:
    global _within, _looked
    _within, _looked = True, False


def _end(**_: Any) -> None:
    global _within, _looked
    _within, _looked = False, False


request_started.connect(_begin, dispatch_uid="currency")
request_finished.connect(_end, dispatch_uid="currency")
