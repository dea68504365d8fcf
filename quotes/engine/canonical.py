"""The same bytes for the same values, on any database, Python or day.

Values become JSON with sorted keys, no spaces, decimals as text and no floats. `load` reads them back by the type
hints of the dataclass, so a snapshot is bytes in and the very same values out.
"""

import dataclasses
import hashlib
import json
import types
import typing
from decimal import Decimal
from enum import Enum
from functools import cache
from typing import Any, TypeVar

T = TypeVar("T")


def dump(value: object) -> bytes:
    """Canonical bytes of a dataclass, tuple, dict, Decimal, str, int, bool or None. Raises TypeError for a float."""
    return json.dumps(plain(value), ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()


def sha256(content: bytes) -> str:
    """The SHA-256 of ``content`` in hex."""
    return hashlib.sha256(content).hexdigest()


def text(number: Decimal) -> str:
    """A decimal as plain digits without trailing zeros: one text for one value.

    >>> text(Decimal("1E+2")), text(Decimal("0.50")), text(Decimal("-0"))
    ('100', '0.5', '0')
    """
    if not number.is_finite():
        raise TypeError(f"{number} is not a number that can be kept")
    digits = format(number, "f")
    if "." in digits:
        digits = digits.rstrip("0").rstrip(".")
    return "0" if digits in {"-0", ""} else digits


def plain(value: object) -> Any:
    """``value`` in JSON's own types; a NamedTuple or dataclass becomes an object of its fields."""
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, Decimal):
        return text(value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return {name: plain(getattr(value, name)) for name in value._fields}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} has no canonical form")


def load(kind: type[T], content: bytes) -> T:
    """The value of type ``kind`` that was dumped as ``content``."""
    return typing.cast(T, _build(kind, json.loads(content)))


@cache
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _build(kind: Any, data: Any) -> Any:
    origin = typing.get_origin(kind)
    if origin in {typing.Union, types.UnionType}:
        if data is None:
            return None
        (kind,) = (arg for arg in typing.get_args(kind) if arg is not type(None))
        return _build(kind, data)
    if origin is tuple:
        args = typing.get_args(kind)
        if len(args) == 2 and args[1] is Ellipsis:
            return tuple(_build(args[0], item) for item in data)
        return tuple(_build(arg, item) for arg, item in zip(args, data, strict=True))
    if origin is dict:
        return {key: _build(typing.get_args(kind)[1], item) for key, item in data.items()}
    if dataclasses.is_dataclass(kind) or hasattr(kind, "_fields"):
        hints = _hints(typing.cast(type, kind))
        return kind(**{name: _build(hints[name], item) for name, item in data.items()})
    return kind(data)
