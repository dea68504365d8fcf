"""Who does what a row asks for. Rooms register their functions in ``AppConfig.ready``."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from django.utils.functional import Promise

Kind = Literal["here", "outside"]
# The effect is in our database: it and the mark "done" are one transaction, so it happens exactly once.
HERE: Kind = "here"
# The effect leaves the house (mail, a call): it is never repeated by machine once it may have left.
OUTSIDE: Kind = "outside"


class NotSentError(Exception):
    """Raised by an outside handler when it is certain that nothing left the house: the row is tried again."""


class UnknownHandlerError(LookupError):
    def __init__(self, name: str) -> None:
        super().__init__(f"No room has registered a handler called {name!r}.")


def _stays_here() -> None:
    """What is done here goes nowhere."""


@dataclass(frozen=True)
class Delivery:
    """What a handler is given. ``prepared`` is what its ``prepare`` returned.

    An outside handler calls ``going_out`` before anything may leave the house, and as late as that: until then the row is
    tried again whatever happens, from then on only where the handler is certain. It ends the run if the row is not ours now.
    """

    key: str
    payload: Mapping[str, Any]
    now: datetime
    attempt: int
    prepared: Any = None
    going_out: Callable[[], None] = _stays_here


@dataclass(frozen=True)
class Handler:
    name: str
    function: Callable[[Delivery], None]
    kind: Kind
    prepare: Callable[[Delivery], Any] | None
    label: str | Promise


_handlers: dict[str, Handler] = {}


def register(
    name: str,
    function: Callable[[Delivery], None],
    kind: Kind,
    *,
    prepare: Callable[[Delivery], Any] | None = None,
    label: str | Promise = "",
) -> None:
    """``prepare`` does what is slow and has no effect (a PDF's bytes, a message's text), before the transaction.

    A "here" ``function`` runs inside it, and on SQLite holds up every other writer. ``label`` is what a page calls it.
    """
    handler = Handler(name, function, kind, prepare, label or name)
    if _handlers.setdefault(name, handler) != handler:
        raise ValueError(f"A handler called {name!r} is registered already.")


def get(name: str) -> Handler:
    try:
        return _handlers[name]
    except KeyError:
        raise UnknownHandlerError(name) from None


def label_of(name: str) -> str:
    return str(_handlers[name].label) if name in _handlers else name
