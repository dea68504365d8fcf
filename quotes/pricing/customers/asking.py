"""The form in which a customer asks, on either of their pages."""

import uuid
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from quotes.pricing.models import Link, Message

LONGEST = Message._meta.get_field("text").max_length
NUL = {"null_characters_not_allowed": _("There is a character in it that cannot be sent.")}


class HiddenUid(forms.UUIDField):
    """A uid that a page sends along. People do not see it, so what is none is as if nothing had come."""

    def __init__(self) -> None:
        super().__init__(widget=forms.HiddenInput, required=False)

    def clean(self, value: Any) -> uuid.UUID | None:
        try:
            found: uuid.UUID | None = super().clean(value)
        except ValidationError:
            return None
        return found


class AskForm(forms.Form):
    """``uid`` makes the same form sent twice one question; ``link`` names the page it stood on."""

    prefix = "ask"
    text = forms.CharField(
        label=_("Your question"),
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={
            "required": _("Write what you would like to know."),
            "max_length": _("Write %(limit_value)d letters at most, or telephone us."),
            **NUL,
        },
    )
    name = forms.CharField(
        label=_("Your name"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": _("Give your name."), **NUL},
    )
    uid = HiddenUid()
    link = HiddenUid()


def blank(link: Link) -> AskForm:
    """For the customer of ``link``, on the page it opens."""
    given: dict[str, Any] = {"uid": uuid.uuid4(), "link": link.uid, "name": link.restoration.customer.name}
    return AskForm(initial=given)
