"""Asking on a customer's page, whichever: `{% ask "quote" %}` shows what was asked and answered, and the form."""

from typing import Any

from django import template
from django.utils import timezone

from quotes.pricing.customers import asking, links, messages
from quotes.pricing.models import Link

register = template.Library()


@register.inclusion_tag("customer/_ask.html", takes_context=True)
def ask(context: template.Context, purpose: str) -> dict[str, Any]:
    """On a quote's page what was asked about that quote; on the restoration's page everything."""
    link = links.from_cookie(context["request"], Link.Purpose(purpose), timezone.now())
    if link is None:
        return {}
    said = messages.conversation(link.restoration)
    asked = [one for one in said if link.quote_id in {None, one.question.quote_id}]
    return {"asked": asked, "ask_form": asking.blank(link), "shop": context.get("shop")}
