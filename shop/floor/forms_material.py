"""What is typed about mixes."""

import uuid
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from shop.floor.forms_doing import Figure, FloorForm
from shop.floor.models import Mix
from shop.methods.models import Consumable


class MixForm(FloorForm):
    """``own`` is what the operations of the task use; ``others`` everything else."""

    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    consumable = forms.ModelChoiceField(Consumable.objects.all(), label=gettext_lazy("Material"), to_field_name="uid")
    amount = Figure(label=gettext_lazy("Mixed"), min_value=0, max_value=100_000, max_digits=10, decimal_places=3)
    left_over = Figure(
        label=gettext_lazy("Left over and thrown away"),
        min_value=0,
        max_value=100_000,
        max_digits=10,
        decimal_places=3,
        required=False,
    )
    note = forms.CharField(
        label=gettext_lazy("Batch numbers, shade"), max_length=Mix._meta.get_field("note").max_length, required=False
    )

    def __init__(
        self, *args: Any, own: Sequence[Consumable] = (), others: Sequence[Consumable] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        groups = [(_("For this task"), own), (_("Other material"), others)]
        chosen = [(name, [(str(item.uid), _unit(item)) for item in items]) for name, items in groups if items]
        self.fields["consumable"].choices = [("", "—"), *chosen]  # type: ignore[attr-defined]
        if len(own) == 1:
            self.initial.setdefault("consumable", own[0].uid)

    def clean_left_over(self) -> Decimal:
        return self.cleaned_data.get("left_over") or Decimal(0)


def _unit(item: Consumable) -> str:
    return _("%(name)s, in %(unit)s") % {"name": item.name, "unit": item.unit}
