"""What is typed about tags and shelves."""

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from shop.floor.forms_doing import FloorForm, Pieces
from shop.floor.models import Move, Shelf, Tag
from shop.floor.tag_codes import read_code
from shop.restorations.models import Part


class FindForm(FloorForm):
    """The number on a tag, as somebody types it."""

    code = forms.CharField(
        label=gettext_lazy("Number on the tag"),
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )

    def clean_code(self) -> str:
        return read_code(self.cleaned_data["code"])


class TagForm(FloorForm):
    """A tag made by hand, for a part or for a bag."""

    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    part = forms.ModelChoiceField(
        Part.objects.none(),
        label=gettext_lazy("Part"),
        to_field_name="uid",
        required=False,
        empty_label=gettext_lazy("a bag with several things"),
    )
    what = forms.CharField(
        label=gettext_lazy("What is in the bag"),
        max_length=Tag._meta.get_field("what").max_length,
        required=False,
        help_text=gettext_lazy("For instance: bolts of the engine plates."),
    )
    pieces = Pieces(label=gettext_lazy("Pieces"), min_value=1, required=False)

    def __init__(self, *args: Any, parts: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["part"].queryset = parts  # type: ignore[attr-defined]
        self.fields["part"].label_from_instance = _with_side  # type: ignore[attr-defined]


def _with_side(part: Part) -> str:
    return f"{part} ({part.get_side_display()})" if part.side else str(part)


class MoveForm(FloorForm):
    """Where a tag is now: one of the shelves, or other words."""

    shelf = forms.ModelChoiceField(
        Shelf.objects.all(), label=gettext_lazy("Shelf"), to_field_name="uid", required=False, empty_label="—"
    )
    at_whom = forms.CharField(
        label=gettext_lazy("Somewhere else"),
        max_length=Move._meta.get_field("at_whom").max_length,
        required=False,
        help_text=gettext_lazy("With whom, or where else it is."),
    )
