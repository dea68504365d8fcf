"""What was worked out of rows, for whoever reads the very same rows again.

Work that only reads and reckons comes to the same answer when what it is given is the same and each of its statements
brings the same rows. So its statements are sent again, in their order, and their rows compared to the last digit: alike,
the answer kept stands; else it is worked out anew, from the rows at hand. Nothing here can be out of date. What is saved
is the making of statements and models, which takes ten times as long as the database does.

So work asked for here must rest on its arguments and on rows alone: on no clock, no chance, no request. Its words may
rest on language, time zone and currency. Work that writes, or reads in another way than through a plain cursor, is done and
not kept. Refusals are not kept.
"""

import hashlib
import io
import pickle
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import wraps
from itertools import islice
from threading import Lock
from typing import Any, Generic, ParamSpec, TypeVar, cast

from django.db import DEFAULT_DB_ALIAS, connection, connections, models
from django.utils import timezone
from django.utils.translation import get_language

from shop import currency

P = ParamSpec("P")
T = TypeVar("T")
Rows = list[Any]


@dataclass(frozen=True, slots=True)
class _Statement:
    sql: str
    params: Any
    digest: bytes


Known = list[tuple[_Statement, Rows]]


@dataclass(frozen=True, slots=True)
class _Kept(Generic[T]):
    statements: tuple[_Statement, ...]
    answer: bytes
    frozen: tuple[Any, ...]


_aside: ContextVar[bool] = ContextVar("rereading_aside", default=False)


@contextmanager
def nothing_kept() -> Iterator[None]:
    """Inside it everything is worked out, and nothing is kept: for whoever has rows seen that are not there."""
    token = _aside.set(True)
    try:
        yield
    finally:
        _aside.reset(token)


def reread(*, most: int, frozen: tuple[type, ...] = ()) -> Callable[[Callable[P, T]], Callable[P, T]]:
    """Let the ``most`` latest answers of a function be kept; rows among its arguments are in its answers as they are."""

    def decorate(work: Callable[P, T]) -> Callable[P, T]:
        memory = Memory[T](most=most, frozen=frozen)

        @wraps(work)
        def asked(*args: P.args, **kwargs: P.kwargs) -> T:
            own = [thing for thing in (*args, *kwargs.values()) if isinstance(thing, models.Model)]
            return memory.ask(lambda: work(*args, **kwargs), given=(args, kwargs), own=own)

        return asked

    return decorate


class Memory(Generic[T]):
    """The ``most`` latest answers of one kind of work in this process.

    Answers come out as copies, so that nobody changes what another is given. ``frozen`` names classes of values that
    nobody can change: these come out as they are.
    """

    def __init__(self, *, most: int, frozen: tuple[type, ...] = ()) -> None:
        self._most, self._frozen = most, frozen
        self._kept: OrderedDict[bytes, _Kept[T]] = OrderedDict()
        self._lock = Lock()

    def ask(self, work: Callable[[], T], *, given: object, own: Sequence[object] = ()) -> T:
        """What ``work`` comes to, which rests on ``given`` and on rows alone. What is ``own`` of the asker is in the
        answer as it is, not as a copy.
        """
        if _aside.get():
            return work()
        key = digest((given, get_language(), timezone.get_current_timezone_name(), currency.code()))
        kept = self._look(key)
        known, alike = _again(kept.statements if kept else ())
        if kept and alike:
            return cast(T, _Reader(kept.answer, own, kept.frozen).load())
        with _noting(known) as noted:
            answer = work()
        if noted.fit:
            written = _Writer(own, self._frozen)
            self._keep(key, _Kept(tuple(noted.statements), written.dumped(answer), tuple(written.frozen)))
        return answer

    def _look(self, key: bytes) -> _Kept[T] | None:
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def _keep(self, key: bytes, kept: _Kept[T]) -> None:
        with self._lock:
            self._kept[key] = kept
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)


def digest(value: object) -> bytes:
    return hashlib.sha256(pickle.dumps(value, protocol=5)).digest()


# -- statements --------------------------------------------------------------------------------------------------------


def _again(statements: Sequence[_Statement]) -> tuple[Known, bool]:
    """The statements with their rows up to the first that brings others, that one included; whether all are alike."""
    known: Known = []
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement.sql, statement.params)
            rows = list(cursor.fetchall())
            now = _Statement(statement.sql, statement.params, digest(rows))
            known.append((now, rows))
            if now.digest != statement.digest:
                return known, False
    return known, True


@dataclass(slots=True)
class _Noted:
    """``known`` are statements sent a moment ago, whose rows are at hand; ``fit`` to be kept is what only reads."""

    known: Known
    open: Callable[[], Any]
    statements: list[_Statement] = field(default_factory=list)
    fit: bool = True

    def at_hand(self, sql: str, params: Any) -> Rows | None:
        place = len(self.statements)
        if self.fit and place < len(self.known):
            statement, rows = self.known[place]
            if (statement.sql, statement.params) == (sql, params):
                self.statements.append(statement)
                return rows
        return None

    def note(self, sql: str, params: Any, rows: Rows) -> None:
        self.statements.append(_Statement(sql, params, digest(rows)))


@contextmanager
def _noting(known: Known) -> Iterator[_Noted]:
    """Note what this thread's connection is asked meanwhile, and what it answers."""
    asked = connections[DEFAULT_DB_ALIAS]  # of this thread alone
    noted, chunked = _Noted(known, asked.cursor), asked.chunked_cursor

    def unfit() -> Any:
        noted.fit = False
        return chunked()

    mine: dict[str, Any] = asked.__dict__
    before: dict[str, Any] = {name: mine[name] for name in ("cursor", "chunked_cursor") if name in mine}
    mine.update(cursor=lambda: _Cursor(noted), chunked_cursor=unfit)
    try:
        yield noted
    finally:
        del asked.cursor, asked.chunked_cursor
        mine.update(before)


class _Cursor:
    """A cursor that has read all of its rows, or known them before it was asked."""

    def __init__(self, noted: _Noted) -> None:
        self._noted, self._rows, self._real = noted, cast(Iterator[Any], iter(())), None

    def execute(self, sql: str, params: Any = None) -> None:
        rows = self._noted.at_hand(sql, params)
        if rows is None:
            rows = self._sent(sql, params)
        self._rows = iter(rows)

    def _sent(self, sql: str, params: Any) -> Rows:
        real = self.real
        real.execute(sql, params)
        if real.description is None:
            self._noted.fit = False
            return []
        rows = list(real.fetchall())
        self._noted.note(sql, params, rows)
        return rows

    @property
    def real(self) -> Any:
        if self._real is None:
            self._real = self._noted.open()
        return self._real

    def executemany(self, *args: Any) -> Any:
        self._noted.fit = False
        return self.real.executemany(*args)

    def fetchone(self) -> Any:
        return next(self._rows, None)

    def fetchmany(self, size: int = 1) -> Rows:
        return list(islice(self._rows, size))

    def fetchall(self) -> Rows:
        return list(self._rows)

    def __iter__(self) -> Iterator[Any]:
        return self._rows

    def __getattr__(self, name: str) -> Any:
        return getattr(self.real, name)

    def __enter__(self) -> "_Cursor":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        if self._real is not None:
            self._real.close()


# -- answers -----------------------------------------------------------------------------------------------------------


class _Writer(pickle.Pickler):
    def __init__(self, own: Sequence[object], frozen: tuple[type, ...]) -> None:
        self._into = io.BytesIO()
        super().__init__(self._into, protocol=5)
        self._own = {id(thing): place for place, thing in enumerate(own)}
        self._classes = frozen
        self.frozen: list[Any] = []

    def dumped(self, answer: object) -> bytes:
        self.dump(answer)
        return self._into.getvalue()

    def reducer_override(self, obj: Any) -> Any:
        if isinstance(obj, models.Model):  # as Django does, without asking for model and version each time
            return object.__new__, (type(obj),), obj.__getstate__(), None, None, _fill
        return NotImplemented

    def persistent_id(self, obj: Any) -> tuple[str, int] | None:
        if id(obj) in self._own:
            return "own", self._own[id(obj)]
        if isinstance(obj, self._classes):
            self.frozen.append(obj)
            return "frozen", len(self.frozen) - 1
        return None


def _fill(row: models.Model, state: dict[str, Any]) -> None:
    row.__dict__.update(state)


class _Reader(pickle.Unpickler):
    """Reads what this process wrote into its own memory a moment ago, and nothing else."""

    def __init__(self, answer: bytes, own: Sequence[object], frozen: Sequence[object]) -> None:
        super().__init__(io.BytesIO(answer))
        self._places = {"own": own, "frozen": frozen}

    def persistent_load(self, pid: tuple[str, int]) -> object:
        kind, place = pid
        return self._places[kind][place]
