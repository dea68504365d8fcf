"""Fields of a form together with what was seen in them."""

from typing import Any

from django import template
from django.forms import BaseForm

from quotes.desk.forms import shown

register = template.Library()


@register.filter
def boxed(form: BaseForm) -> list[tuple[Any, str]]:
    """Bound fields with the text that was seen in them."""
    return [(form[name], shown(form, name)) for name in form.fields]
