"""The two widgets that most pages are full of, written without a template: one for each option of a list takes longer than
the rest of the page. Byte for byte what Django's own templates write; every other widget is left to these.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from django.forms.renderers import DjangoTemplates
from django.http import HttpRequest
from django.utils.html import conditional_escape
from django.utils.safestring import mark_safe

FOLDER = "django/forms/widgets/"
SELECT = f"{FOLDER}select.html"
OPTION = f"{FOLDER}select_option.html"
INPUTS = frozenset(
    f"{FOLDER}{name}.html"
    for name in ("input", "text", "number", "email", "url", "password", "hidden", "date", "checkbox")
)


class Renderer(DjangoTemplates):
    def render(self, template_name: str, context: dict[str, Any], request: HttpRequest | None = None) -> str:
        widget = context.get("widget", {})
        if template_name in INPUTS:
            return mark_safe(_input(widget))  # noqa: S308  # each value in it is escaped
        if template_name == SELECT and _is_plain(widget):
            return mark_safe(_select(widget))  # noqa: S308  # the same
        return super().render(template_name, context, request)


def _is_plain(widget: Mapping[str, Any]) -> bool:
    return all(option["template_name"] == OPTION for _name, options, _at in widget["optgroups"] for option in options)


def _input(widget: Mapping[str, Any]) -> str:
    value = "" if widget["value"] is None else f' value="{conditional_escape(widget["value"])}"'
    return (
        f'<input type="{conditional_escape(widget["type"])}" name="{conditional_escape(widget["name"])}"{value}'
        f"{_attributes(widget['attrs'])}>"
    )


def _select(widget: Mapping[str, Any]) -> str:
    inside = "".join(_group(name, options) for name, options, _at in widget["optgroups"])
    return f'<select name="{conditional_escape(widget["name"])}"{_attributes(widget["attrs"])}>{inside}\n</select>'


def _group(name: str | None, options: Iterable[Mapping[str, Any]]) -> str:
    inside = "".join(f"\n  {_option(option)}" for option in options)
    return f'\n  <optgroup label="{conditional_escape(name)}">{inside}\n  </optgroup>' if name else inside


def _option(option: Mapping[str, Any]) -> str:
    value, label = conditional_escape(option["value"]), conditional_escape(option["label"])
    return f'<option value="{value}"{_attributes(option["attrs"])}>{label}</option>\n'


def _attributes(attributes: Mapping[str, Any]) -> str:
    return "".join(
        f" {conditional_escape(name)}" + ("" if value is True else f'="{conditional_escape(value)}"')
        for name, value in attributes.items()
        if value is not False
    )
