"""Forms of a damage found: what it is, what was seen, and perhaps a photograph, all in one step."""

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from quotes.desk.forms import PlainForm, plainly
from quotes.pricing.damages import NO_NAME
from shop.papers.photographs_forms import PhotographForm
from shop.restorations.models import Part, PartDamage

#: The choice of one that is in no list.
OTHER = "other"


class FoundForm(PlainForm):
    """``values`` are those that may be chosen besides ``OTHER``; ``uid`` makes the same form sent twice found once."""

    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    what = forms.ChoiceField(label=gettext_lazy("What is damaged"))
    name = forms.CharField(
        label=gettext_lazy("Something else, in a few words"),
        max_length=PartDamage._meta.get_field("name").max_length,
        required=False,
        help_text=gettext_lazy("Such as “thread torn out of the drain boss”."),
    )
    note = forms.CharField(
        label=gettext_lazy("What was seen"),
        max_length=PartDamage._meta.get_field("note").max_length,
        help_text=gettext_lazy("Where, and how bad. The customer reads it on the variation."),
    )
    again = forms.BooleanField(
        label=gettext_lazy("Lay what is on the route already a second time"),
        required=False,
        help_text=gettext_lazy("Only if the work is really done twice: it is then charged twice, and sent out twice."),
    )

    def __init__(self, data: Any = None, *, values: list[str]) -> None:
        super().__init__(data, prefix="found")
        field = self.fields["what"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(value, value) for value in (*values, OTHER)]
        if not values:
            field.initial = OTHER

    def clean(self) -> dict[str, Any]:
        """What the service would refuse is said before a photograph is taken in."""
        data: dict[str, Any] = super().clean() or {}
        if data.get("what") == OTHER and not data.get("name"):
            self.add_error("name", NO_NAME)
        return data

    @property
    def chosen(self) -> str:
        """The value that is ticked, for a page that is shown again."""
        return str(self["what"].value() or "")


class FoundPhotographForm(PhotographForm):
    """A photograph that may come along; without words of its own it shows the damage by its name."""

    prefix = "photograph"
    field_order = ("file", "caption")

    def __init__(self, *args: Any, shows: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shows = shows
        del self.fields["taken_on"]
        for name in ("file", "caption"):
            self.fields[name].required = False
        plainly(self)

    @property
    def came(self) -> bool:
        """Whether a photograph came along."""
        return self.add_prefix("file") in self.files

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        longest = self.fields["caption"].max_length  # type: ignore[attr-defined]
        return data | {"caption": data.get("caption") or self.shows[:longest], "taken_on": None}


class WhereForm(PlainForm):
    """On which part of a bike something was found."""

    part = forms.ModelChoiceField(
        label=gettext_lazy("On which part"),
        queryset=Part.objects.none(),
        to_field_name="uid",
        empty_label=gettext_lazy("Choose a part"),
    )

    def __init__(self, data: Any = None, *, parts: Any) -> None:
        super().__init__(data)
        field = self.fields["part"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset, field.empty_label = parts, str(gettext_lazy("Choose a part"))
        field.error_messages |= {"required": gettext_lazy("Choose the part on which it was found.")}
