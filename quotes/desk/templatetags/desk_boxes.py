"""Fields of a form together with what was seen in them."""

from typing import Any

from django import template
from django.forms import BaseForm, BoundField

from quotes.desk import saving

register = template.Library()


@register.filter
def boxed(form: BaseForm) -> list[tuple[Any, str]]:
    """Bound fields with the text that was seen in them."""
    return [(form[name], saving.seen_text(form, name)) for name in form.fields]


@register.filter
def theirs(box: BoundField) -> str | None:
    """What somebody else put into the box meanwhile, as its text; None where nobody did."""
    return saving.theirs(box)
