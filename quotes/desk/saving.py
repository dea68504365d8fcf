"""Saving field by field: what was typed, what was seen, and where an error belongs."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model
from django.forms import BaseForm, BoundField
from django.http import QueryDict
from django.utils.translation import gettext as _

from quotes.desk.forms import COLUMNS, EMPTY, SEEN, MoneyField, in_minor, shown
from quotes.engine.money import from_minor, places
from shop import currency, text
from shop.restorations.services import ChangedMeanwhileError

SETTLE = "settle"
MINE = "mine"
THEIRS = "theirs"
CONFLICT = "changed meanwhile"

#: What was seen and is no value any more: it equals nothing, so it counts as changed meanwhile.
GONE = object()


def settled(data: Mapping[str, Any]) -> tuple[str, str]:
    """Which of the two was chosen where two people changed one box, and the box: ``("mine", "pieces")``."""
    choice, _colon, name = str(data.get(SETTLE, "")).partition(":")
    return choice, name


def settle(data: QueryDict, stored: BaseForm) -> QueryDict:
    """What was sent, with the choice worked in: who keeps theirs has now seen the other value, who takes it typed it."""
    choice, name = settled(data)
    if name not in stored.fields:
        return data
    result = data.copy()
    if choice == MINE and f"{THEIRS}-{name}" in data:
        result[SEEN + name] = str(data[f"{THEIRS}-{name}"])
    elif choice == THEIRS:
        result[name] = result[SEEN + name] = showing(stored, name)
    return result


def typed(form: BaseForm, data: Mapping[str, Any]) -> list[str]:
    """The fields that were changed by hand: what was sent is not what was seen."""
    return [name for name in form.fields if name in data and _plain(data[name]) != _plain(data.get(SEEN + name, ""))]


def _plain(sent: object) -> str:
    return str(sent).replace("\r\n", "\n")


def answered(boxes: Sequence[tuple[Any, str]], names: Sequence[str], data: Mapping[str, Any]) -> list[tuple[Any, str]]:
    """The boxes to answer with: those changed, and the one just settled."""
    told = {*names, settled(data)[1]}
    return [(box, now) for box, now in boxes if box.name in told]


def showing(form: BaseForm, name: str) -> str:
    """The text a box shows for what is stored; a choice that went away shows as none."""
    now = shown(form, name)
    return now if _listed(form.fields[name], now) else ""


def _listed(field: forms.Field, value: str) -> bool:
    if isinstance(field, forms.ModelChoiceField):
        # A list of everything holds whatever is stored: the foreign key sees to that.
        rows = field.queryset
        return not value or rows is None or not rows.query.has_filters() or rows.filter(pk=value).exists()
    return not isinstance(field, forms.ChoiceField) or field.valid_value(value)


def seen_text(form: BaseForm, name: str) -> str:
    """What the person saw: while nothing is saved that is still what was sent as seen, or a conflict would end untold."""
    return str(form.data[SEEN + name]) if form.is_bound and SEEN + name in form.data else showing(form, name)


def changes(form: BaseForm, names: Sequence[str]) -> dict[str, Any]:
    """The cleaned values of ``names``; an empty box is what the column needs instead."""
    return {name: _filled(name, form.cleaned_data[name]) for name in names if name in form.cleaned_data}


def seen(form: BaseForm, data: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    """What the person saw in ``names``, as values; `GONE` for what is none any more and not what is stored either."""
    result: dict[str, Any] = {}
    for name in names:
        was = str(data.get(SEEN + name, ""))
        try:
            result[name] = _filled(name, form.fields[name].clean(was))
        except ValidationError:
            if was and was != showing(form, name):
                result[name] = GONE
            continue
        if not was and shown(form, name) and not showing(form, name):
            del result[name]  # stored is a choice that went away, and its box shows none
    return result


def seen_in_columns(seen: Mapping[str, Any]) -> dict[str, Any]:
    """``seen`` by column, money in minor units."""
    gone = {COLUMNS.get(name, name): GONE for name, value in seen.items() if value is GONE}
    return in_minor({name: value for name, value in seen.items() if value is not GONE}) | gone


def _filled(name: str, value: Any) -> Any:
    return EMPTY[name] if value in (None, "") and name in EMPTY else value


def box_of(column: str) -> str:
    """The box a column of the model is typed into."""
    return next((box for box, name in COLUMNS.items() if name == column), column)


def place(form: BaseForm, error: ValidationError, fallback: str | None) -> None:
    """Put an error at its box, or at the one that was changed; with None, over all of them."""
    if not hasattr(error, "error_dict"):
        form.add_error(fallback, ValidationError(error.messages))
        return
    for name, errors in error.error_dict.items():
        box = box_of(name)
        form.add_error(box if box in form.fields else fallback, errors)


def tell_conflict(form: BaseForm, conflict: ChangedMeanwhileError) -> None:
    """Say at its box that somebody else changed it first; what was typed stays, and the box asks which should stand."""
    name = box_of(conflict.field)
    field = form.fields[name]
    value = _as_boxed(name, conflict.now)
    told = {"now": in_words(field, value), "theirs": _as_sent(field, value)}
    said = _("Somebody else changed this to “%(now)s” meanwhile. Which should stand?")
    form.add_error(name, ValidationError(said, code=CONFLICT, params=told))


def theirs(box: BoundField) -> str | None:
    """What somebody else put into a box meanwhile, as its text; None where nobody did."""
    errors = box.form.errors.get(box.name)
    told = [error.params for error in errors.as_data() if error.code == CONFLICT] if errors else []
    return str(told[0]["theirs"]) if told and told[0] else None


def _as_boxed(name: str, value: Any) -> Any:
    return from_minor(value, digits=places(currency.code())) if name in COLUMNS else value


def _as_sent(field: forms.Field, value: Any) -> str:
    """The text a box sends for a value; a choice that went away is sent as none."""
    prepared = field.prepare_value(value.pk if isinstance(value, Model) else value)
    sent = "" if prepared is None else format(prepared, "f") if isinstance(prepared, Decimal) else str(prepared)
    return sent if _listed(field, sent) else ""


def in_words(field: forms.Field, value: Any) -> str:
    """A value as its box shows it: the name of a choice, money as money, "nothing" for none."""
    if isinstance(field, forms.ChoiceField):
        return _choice_in_words(field, _as_sent(field, value))
    if isinstance(field, MoneyField):
        return text.money(value, currency.code())
    return _as_sent(field, value) or _("nothing")


def _choice_in_words(field: forms.ChoiceField, sent: str) -> str:
    choices = cast(Iterable[tuple[Any, Any]], field.choices)
    names = {str(value): str(label) for value, label in choices}
    named = names.get(sent, sent)
    return named if named.strip("-") else _("nothing")


def keep(
    sent: QueryDict, form_for: Callable[..., BaseForm], write: Callable[[dict[str, Any], dict[str, Any]], object]
) -> tuple[BaseForm, list[str], bool]:
    """Save the boxes that were typed in by ``write(changes, seen)``: the form with its errors, the boxes, and whether it went wrong.

    ``form_for`` makes the form of what is stored, from ``data`` or from nothing.
    """
    data = settle(sent, form_for())
    form = form_for(data)
    names = typed(form, data)
    known = seen(form, data, names)
    form.is_valid()
    if not names or any(name in form.errors for name in names):
        return form, names, bool(names)
    try:
        write(changes(form, names), known)
    except ChangedMeanwhileError as conflict:
        tell_conflict(form, conflict)
    except ValidationError as error:
        place(form, error, names[0])
    else:
        return form, names, False
    return form, names, True
