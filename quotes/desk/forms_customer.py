"""Forms of the page about what the customer sees and says."""

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import PlainForm, plainly
from quotes.pricing.customers import sharing, telling
from quotes.pricing.customers.asking import HiddenUid
from quotes.pricing.models import Message, Shared
from shop.papers.models import Photograph
from shop.papers.photographs_forms import NO_FILE, PhotographForm
from shop.restorations.models import Restoration


class TellForm(PlainForm):
    """A form whose words can be sent by e-mail too; where they cannot, ``cannot_tell`` says why and nothing is to be ticked."""

    tell = forms.BooleanField(label=gettext_lazy("Tell them by e-mail, with a link to their page"), required=False)
    uid = HiddenUid()

    def __init__(self, *args: Any, restoration: Restoration, **kwargs: Any) -> None:
        super().__init__(*args, initial={"uid": uuid.uuid4()}, **kwargs)
        self.cannot_tell = telling.cannot(restoration)
        if self.cannot_tell:
            del self.fields["tell"]


class ShareForm(TellForm):
    """A note and perhaps a photograph on record; ``uid`` makes the same form sent twice shared once."""

    prefix = "share"
    note = forms.CharField(
        label=gettext_lazy("Note"),
        max_length=Shared._meta.get_field("note").max_length,
        widget=forms.Textarea(attrs={"rows": 4}),
        required=False,
        help_text=gettext_lazy(
            "In words for somebody who is no mechanic: what was done, what was found, what comes next."
        ),
    )
    photograph = forms.ModelChoiceField(
        Photograph.objects.none(), to_field_name="uid", required=False, label=gettext_lazy("Photograph on record")
    )

    def __init__(self, data: Any = None, *, restoration: Restoration) -> None:
        super().__init__(data, restoration=restoration)
        self.on_record = sharing.photographs_of(restoration)
        self.fields["photograph"].queryset = self.on_record  # type: ignore[attr-defined]

    @property
    def chosen(self) -> str:
        """The uid of the photograph that was ticked, for a page that is shown again."""
        return str(self["photograph"].value() or "")


class NewPhotographForm(PhotographForm):
    """A photograph that may come along with a note; what it shows is only asked where there is one."""

    prefix = "photograph"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("file", "caption"):
            self.fields[name].required = False
        plainly(self)

    @property
    def came(self) -> bool:
        """Whether somebody filled it in."""
        return self.is_bound and any(self[name].data for name in self.fields)

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        if self.came and not data.get("file") and "file" not in self.errors:
            self.add_error("file", NO_FILE)
        if self.came and not data.get("caption") and "caption" not in self.errors:
            self.add_error("caption", _("Say what it shows."))
        return data


class AnswerForm(TellForm):
    """An answer to one question of a customer."""

    text = forms.CharField(
        label=gettext_lazy("Answer"),
        max_length=Message._meta.get_field("text").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, data: Any = None, *, question: Message, restoration: Restoration) -> None:
        super().__init__(data, prefix=f"answer-{question.uid}", restoration=restoration)
