"""Journal entries as people read them: what was done, to what, and which fields went from what to what."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.apps import apps
from django.db.models import Model
from django.utils.dateparse import parse_date
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _

from quotes.desk import told_values as values_of
from quotes.desk.told_words import FIELDS_OF, OF_ROWS, OWN, ROUTE_SET, UNREAD, UNREAD_ANYWHERE, WORDS
from quotes.engine.money import from_minor, places
from shop import currency, text
from shop.journal.models import Entry
from shop.journal.telling import field_of, key_of
from shop.methods.models import FinishRoute, Material


@dataclass(frozen=True, slots=True)
class Turn:
    """A field that went from one value to another, in words; ``was`` or ``now`` is None where there is only the other."""

    label: str
    was: str | None
    now: str | None


def what(entry: Entry) -> str:
    if entry.what == "quote withdrawn" and set(json.loads(entry.after)) == {"reason"}:
        return _("quote replaced")  # by the newer one; who withdraws one by hand says more
    if entry.what.startswith(ROUTE_SET):
        return _route(entry.what.removeprefix(ROUTE_SET))
    return str(WORDS.get(entry.what, entry.what))


def _route(said: str) -> str:
    direction, _on, material = said.partition(" on ")
    told = {
        "direction": dict(FinishRoute.Direction.choices).get(direction, direction),
        "material": dict(Material.choices).get(material, material),
    }
    return _("route: %(direction)s, %(material)s") % told


def turns(entry: Entry) -> list[Turn]:
    """What changed, field by field."""
    was, now = json.loads(entry.before), json.loads(entry.after)
    model = model_of(entry)
    return [
        Turn(
            label(model, key),
            value(model, key, was[key]) if key in was else None,
            value(model, key, now[key]) if key in now else None,
        )
        for key in (*was, *(key for key in now if key not in was))
        if key not in UNREAD_ANYWHERE and (entry.what, key) not in UNREAD and _can_be_read(was, now, key)
    ]


def _can_be_read(was: Mapping[str, Any], now: Mapping[str, Any], key: str) -> bool:
    """Not what only machines call things by, and not that something was left empty."""
    values = [state[key] for state in (was, now) if key in state]
    return not all(values_of.is_empty(one) or values_of.is_only_for_machines(one) for one in values)


def model_of(entry: Entry) -> type[Model] | None:
    if entry.what in FIELDS_OF:
        return FIELDS_OF[entry.what]
    try:
        return apps.get_model(entry.subject_type)
    except (LookupError, ValueError):
        return None


def _field(model: type[Model] | None, key: str) -> Any:
    return _fields(model).get(field_of(key)) if model else None


@cache
def _fields(model: type[Model]) -> dict[str, Any]:
    return {field.name: field for field in model._meta.concrete_fields}


def label(model: type[Model] | None, key: str) -> str:
    """A field as pages call it."""
    field = _field(model, key)
    if field is None or not _has_words(field):
        return str(OWN.get(key, key))
    return str(field.verbose_name)


def _has_words(field: Any) -> bool:
    """Whether a column is called something on pages, and not only by what the code calls it."""
    return isinstance(field.verbose_name, Promise)


def value(model: type[Model] | None, key: str, said: Any) -> str:
    """A value as pages write it."""
    field = _field(model, key)
    if said is None or said in ("", [], {}):
        return _("nothing")
    if isinstance(said, Mapping):
        return str(said.get("name", ""))
    if isinstance(said, list):
        return _listed(key, said)
    if field is not None and field.choices:
        return str(dict(field.flatchoices).get(said, said))
    if key.endswith(" minor") and isinstance(said, int):
        return text.money(from_minor(said, digits=places(currency.code())), currency.code())
    if isinstance(said, bool):
        return _("yes") if said else _("no")
    day = parse_date(said) if isinstance(said, str) and len(said) == len("2026-01-01") and said[4] == "-" else None
    return date_format(day, "DATE_FORMAT") if day else values_of.in_words(key if field is None else "", said)


def _listed(key: str, said: list[Any]) -> str:
    """Steps by name; ways back and waits, which are pairs of uids, by how many there are."""
    if key == "payments":
        return "; ".join(_payment(*item) for item in said)
    names = [str(item["name"]) for item in said if isinstance(item, Mapping) and "name" in item]
    if names:
        return ", ".join(names)
    if said and all(isinstance(item, Mapping) for item in said):
        return "; ".join(map(_row, said))
    return str(len(said)) if key in {"ways back", "waits"} else ", ".join(str(item) for item in said)


def _row(said: Mapping[str, Any]) -> str:
    """A row of a list as the journal keeps it: what it is of, then each of its figures, but for what is empty or nought."""
    return ", ".join(
        f"{label(None, key_of(key))} {values_of.in_words('', one)}"
        for key, one in sorted(said.items(), key=lambda item: item[0] not in OF_ROWS)
        if not values_of.is_empty(one) and one is not False and str(one).strip("0.")
    )


def _payment(name: str, said: str) -> str:
    """A payment with the day it became due or was reached, where there is one."""
    day = parse_date(said) if said else None
    return f"{name} ({date_format(day)})" if day else name
