"""What the journal keeps of fields, and back again: the very values, and things by what never changes of them."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import ForeignKey, Model
from django.utils.translation import gettext as _


class NotToldError(ValueError):
    """An entry that does not say enough to find the value again."""


def told(fields: Mapping[str, Any]) -> dict[str, object]:
    """Fields as the journal keeps them: things by name, and by a key that stays when they are renamed."""
    return {key_of(name): _kept(value) for name, value in fields.items()}


def _kept(value: Any) -> object:
    if isinstance(value, Model):
        return named(value)
    return [_kept(one) for one in value] if isinstance(value, list) else value


def key_of(field: str) -> str:
    return field.replace("_", " ")


def field_of(key: str) -> str:
    return key.replace(" ", "_")


def named(row: Model) -> dict[str, object]:
    """A row by its name as it is now, and by its uid, or its number where it has none."""
    key = {"uid": str(row.uid)} if hasattr(row, "uid") else {"pk": row.pk}
    return {"name": str(row), **key}


def recalled(model: type[Model], state: Mapping[str, Any]) -> dict[str, Any]:
    """What `told` kept of fields of ``model``, as values; what is no field of it is left out.

    Raises `NotToldError` where a thing was noted by its name alone, `ValidationError` where it is not there any more.
    """
    fields = {field.name: field for field in model._meta.concrete_fields}
    wanted = {name: value for key, value in state.items() if (name := field_of(key)) in fields}
    return {
        name: _row(field, value) if isinstance(field := fields[name], ForeignKey) else field.to_python(value)
        for name, value in wanted.items()
    }


def _row(field: "ForeignKey[Any, Any]", value: Any) -> Model | None:
    if value is None:
        return None
    if not isinstance(value, Mapping) or not value.keys() & {"uid", "pk"}:
        raise NotToldError(field.name)
    related: type[Model] = field.related_model
    key = {name: value[name] for name in ("uid", "pk") if name in value}
    row: Model | None = related._default_manager.filter(**key).first()
    if row is None:
        raise ValidationError(_("“%(name)s” is not there any more.") % {"name": value.get("name", "")})
    return row
