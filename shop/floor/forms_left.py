"""What is typed about the hours left of a task."""

import uuid
from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy

from shop.floor.forms_doing import Figure, FloorForm

HOUR = Decimal(60)


class HoursLeftForm(FloorForm):
    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    hours = Figure(
        label=gettext_lazy("Hours it still takes"), min_value=0, max_value=1_000, max_digits=7, decimal_places=2
    )

    @property
    def minutes(self) -> int:
        """What was typed in whole minutes."""
        return int((self.cleaned_data["hours"] * HOUR).to_integral_value())
