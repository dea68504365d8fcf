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
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk import told_values as values_of
from quotes.engine.money import from_minor, places
from quotes.pricing.models import Draft
from shop import currency, text
from shop.journal.models import Entry
from shop.journal.telling import field_of

WORDS = {
    "part added": gettext_lazy("added"),
    "part changed": gettext_lazy("changed"),
    "part removed": gettext_lazy("taken out of scope"),
    "part brought back": gettext_lazy("brought back"),
    "route laid anew": gettext_lazy("route laid anew"),
    "parts laid out from template": gettext_lazy("parts laid out from a template"),
    "parts taken from an earlier bike": gettext_lazy("parts taken from an earlier bike"),
    "step added": gettext_lazy("step added"),
    "step changed": gettext_lazy("step changed"),
    "step removed": gettext_lazy("step taken off the route"),
    "step brought back": gettext_lazy("step brought back"),
    "step moved": gettext_lazy("step moved"),
    "wait added": gettext_lazy("waits for another step"),
    "wait removed": gettext_lazy("does not wait any more"),
    "draft opened": gettext_lazy("draft opened"),
    "draft changed": gettext_lazy("terms of the draft changed"),
    "draft priced anew": gettext_lazy("priced with the rates of another day"),
    "customer corrected": gettext_lazy("customer corrected"),
    "machine corrected": gettext_lazy("machine corrected"),
    "restoration corrected": gettext_lazy("restoration corrected"),
    "restoration begun": gettext_lazy("restoration begun"),
    "start changed": gettext_lazy("start of work changed"),
    "finish agreed": gettext_lazy("finish agreed with the customer"),
    "finish evidence added": gettext_lazy("finish evidence added"),
    "finish evidence changed": gettext_lazy("finish evidence changed"),
    "finish evidence taken away": gettext_lazy("finish evidence taken away"),
    "finish evidence brought back": gettext_lazy("finish evidence brought back"),
    "possible damage added": gettext_lazy("possible damage added"),
    "possible damage changed": gettext_lazy("possible damage changed"),
    "possible damage removed": gettext_lazy("possible damage taken away"),
    "possible damage brought back": gettext_lazy("possible damage brought back"),
    "quote issued": gettext_lazy("quote issued"),
    "quote accepted": gettext_lazy("quote accepted"),
    "quote declined": gettext_lazy("quote declined"),
    "quote withdrawn": gettext_lazy("quote withdrawn"),
}

#: Whose fields an entry tells of, where that is not its subject.
FIELDS_OF = {"draft changed": Draft, "draft priced anew": Draft}


@dataclass(frozen=True, slots=True)
class Turn:
    """A field that went from one value to another, in words; ``was`` or ``now`` is None where there is only the other."""

    label: str
    was: str | None
    now: str | None


def what(entry: Entry) -> str:
    if entry.what == "quote withdrawn" and set(json.loads(entry.after)) == {"reason"}:
        return _("quote replaced")  # by the newer one; who withdraws one by hand says more
    return str(WORDS.get(entry.what, entry.what))


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
        if _can_be_read(was, now, key)
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


#: What is told of and is no column.
OWN = {
    "steps": gettext_lazy("steps"),
    "ways back": gettext_lazy("ways back"),
    "waits": gettext_lazy("waits"),
    "waits for": gettext_lazy("waits for"),
    "place": gettext_lazy("place"),
}


def label(model: type[Model] | None, key: str) -> str:
    """A field as pages call it."""
    field = _field(model, key)
    return str(OWN.get(key, key) if field is None else field.verbose_name)


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
    return date_format(day, "DATE_FORMAT") if day else values_of.in_words(key, said)


def _listed(key: str, said: list[Any]) -> str:
    """Steps by name; ways back and waits, which are pairs of uids, by how many there are."""
    names = [str(item["name"]) for item in said if isinstance(item, Mapping) and "name" in item]
    if names:
        return ", ".join(names)
    return str(len(said)) if key in {"ways back", "waits"} else ", ".join(str(item) for item in said)
