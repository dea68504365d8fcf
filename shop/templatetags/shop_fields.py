"""A form's field with its label and what is wrong with it, written without a template: pages have up to hundreds of them."""

from django import template
from django.forms import BoundField
from django.utils.html import conditional_escape as escaped
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

register = template.Library()


@register.simple_tag(name="field")
def field_with_label(field: BoundField, unit: str = "") -> SafeString:
    """``unit`` is shown behind the box and said with the label."""
    if field.is_hidden:
        return mark_safe(str(field))  # noqa: S308  # Django's own, as all that is not escaped below
    errors = [str(error) for error in field.errors]
    wrong, words = " field-wrong" if errors else "", _words(field, errors)
    if field.use_fieldset:
        inside = f"<legend>{_label(field)}</legend>\n{words}{field}\n"
        return mark_safe(f'<fieldset class="field{wrong}"{_described(field, errors)}>\n{inside}</fieldset>\n')  # noqa: S308
    at = escaped(field.id_for_label)
    if field.widget_type == "checkbox":
        inside = f'{words}<label class="choice" for="{at}">{field} {escaped(field.label)}</label>\n'
    else:
        inside = f'<label for="{at}">{_label(field, unit)}</label>\n{words}{_box(field, unit)}\n'
    return mark_safe(f'<div class="field{wrong}">\n{inside}</div>\n')  # noqa: S308


def _label(field: BoundField, unit: str = "") -> str:
    said = f'<span class="only-heard">, {escaped(unit)}</span>' if unit else ""
    told = not field.field.required and getattr(field.form, "tells_optional", True)
    optional = f' <span class="optional">({escaped(_("optional"))})</span>' if told else ""
    return f"{escaped(field.label)}{said}{optional}"


def _box(field: BoundField, unit: str) -> str:
    if not unit:
        return str(field)
    return f'<span class="with-unit">{field} <span class="unit" aria-hidden="true">{escaped(unit)}</span></span>'


def _words(field: BoundField, errors: list[str]) -> str:
    at = escaped(field.auto_id)
    hint = f'<p class="hint" id="{at}_helptext">{escaped(field.help_text)}</p>\n' if field.help_text else ""
    said = "".join(f"<li>{escaped(error)}</li>" for error in errors)
    return hint + (f'<ul class="wrong" id="{at}_error">{said}</ul>\n' if errors else "")


def _described(field: BoundField, errors: list[str]) -> str:
    if not errors and not field.help_text:
        return ""
    at = escaped(field.auto_id)
    ids = (f"{at}_helptext " if field.help_text else "") + (f"{at}_error" if errors else "")
    return f' aria-describedby="{ids}"'
