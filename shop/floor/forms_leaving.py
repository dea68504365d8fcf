"""Runs and snags as they are said on the floor."""

import uuid

from django import forms
from django.utils.translation import gettext_lazy

from shop.floor.forms_doing import Figure, FloorForm
from shop.floor.models import Run, RunTick, Snag
from shop.methods.models import Stage


class BareForm(FloorForm):
    """A button without boxes."""


class BeginForm(FloorForm):
    stage = forms.ChoiceField(choices=Stage.choices)


class TickForm(FloorForm):
    """One check: right or not by the button that was pressed, with a note where there is one."""

    check = forms.UUIDField(widget=forms.HiddenInput)
    right = forms.TypedChoiceField(choices=[("1", ""), ("0", "")], coerce=lambda value: value == "1")
    note = forms.CharField(required=False, max_length=RunTick._meta.get_field("note").max_length)


class FinishForm(FloorForm):
    distance = Figure(
        label=gettext_lazy("How far [km]"),
        required=False,
        min_value=0,
        max_value=10_000,
        max_digits=7,
        decimal_places=1,
    )
    note = forms.CharField(
        label=gettext_lazy("Note"), required=False, max_length=Run._meta.get_field("note").max_length
    )


class SnagForm(FloorForm):
    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    words = forms.CharField(
        label=gettext_lazy("What is not right"), max_length=Snag._meta.get_field("words").max_length
    )


class SettleForm(FloorForm):
    how = forms.CharField(
        label=gettext_lazy("What was done"), max_length=Snag._meta.get_field("settled_how").max_length
    )
