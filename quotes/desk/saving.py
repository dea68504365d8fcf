"""Saving field by field: what was typed, what was seen, and where an error belongs."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.utils.translation import gettext as _

from quotes.desk.forms import COLUMNS, EMPTY, SEEN
from shop.restorations.services import ChangedMeanwhileError


def typed(form: BaseForm, data: Mapping[str, Any]) -> list[str]:
    """The fields that were changed by hand: what was sent is not what was seen."""
    return [name for name in form.fields if name in data and str(data[name]) != str(data.get(SEEN + name, ""))]


def changes(form: BaseForm, names: Sequence[str]) -> dict[str, Any]:
    """The cleaned values of ``names``; an empty box is what the column needs instead."""
    return {name: _filled(name, form.cleaned_data[name]) for name in names if name in form.cleaned_data}


def seen(form: BaseForm, data: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    """What the person saw in ``names``, as values; text that is none was never shown by us and does not count."""
    result = {}
    for name in names:
        try:
            result[name] = _filled(name, form.fields[name].clean(data.get(SEEN + name, "")))
        except ValidationError:
            continue
    return result


def _filled(name: str, value: Any) -> Any:
    return EMPTY[name] if value in (None, "") and name in EMPTY else value


def box_of(column: str) -> str:
    """The box a column of the model is typed into."""
    return next((box for box, name in COLUMNS.items() if name == column), column)


def place(form: BaseForm, error: ValidationError, fallback: str) -> None:
    """Put an error at its box, or at the one that was changed."""
    if not hasattr(error, "error_dict"):
        form.add_error(fallback, ValidationError(error.messages))
        return
    for name, errors in error.error_dict.items():
        box = box_of(name)
        form.add_error(box if box in form.fields else fallback, errors)


def tell_conflict(form: BaseForm, conflict: ChangedMeanwhileError) -> None:
    """Say at its box that somebody else changed it first; what was typed stays."""
    form.add_error(
        box_of(conflict.field),
        _("Somebody else changed this to “%(now)s” meanwhile. Set yours again if it should stand.")
        % {"now": conflict.now},
    )
