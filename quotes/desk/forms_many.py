"""What can be set for many parts at once: each field is left as it is unless something is chosen."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import PlainForm
from shop.methods.models import Condition, Finish, Material, SizeClass
from shop.rates.models import TaxRate
from shop.restorations.models import Basis

AS_IS = ""
NONE = "none"
LEAVE = gettext_lazy("leave as it is")


class ManyForm(PlainForm):
    """Fields are called as in the model. An empty one says nothing; ``none`` empties a thing that can be empty."""

    agreed_finish = forms.ChoiceField(label=gettext_lazy("Agreed finish"), required=False)
    factory_finish = forms.ChoiceField(label=gettext_lazy("Factory finish"), required=False)
    condition = forms.ChoiceField(label=gettext_lazy("Condition"), required=False)
    material = forms.ChoiceField(label=gettext_lazy("Material"), required=False)
    size_class = forms.ChoiceField(label=gettext_lazy("Size class"), required=False)
    area_name = forms.CharField(
        label=gettext_lazy("Area of the bike"),
        max_length=60,
        required=False,
        help_text=gettext_lazy("If empty, it is left as it is."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    tax = forms.ChoiceField(label=gettext_lazy("Tax"), required=False)
    basis = forms.ChoiceField(label=gettext_lazy("We promise"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="many-%s", **kwargs)
        finishes = list(Finish.objects.order_by("name"))
        sizes = list(SizeClass.objects.order_by("name"))
        taxes = dict(TaxRate.objects.order_by("valid_from", "revision").values_list("code", "name"))
        self._rows: dict[str, dict[str, Any]] = {
            "agreed_finish": {str(row.pk): row for row in finishes},
            "factory_finish": {str(row.pk): row for row in finishes},
            "size_class": {str(row.pk): row for row in sizes},
        }
        for name, rows in self._rows.items():
            self._offer(name, [(NONE, _("none")), *((pk, str(row)) for pk, row in rows.items())])
        self._offer("condition", Condition.choices)
        self._offer("material", Material.choices)
        self._offer("tax", sorted(taxes.items()))
        self._offer("basis", Basis.choices)

    def show(self) -> "ManyForm":
        """For showing: “optional” beside every field would say nothing."""
        self.use_required_attribute = False
        for field in self.fields.values():
            field.required = True
        return self

    def _offer(self, name: str, choices: Iterable[tuple[Any, Any]]) -> None:
        self.fields[name].choices = [(AS_IS, LEAVE), *choices]  # type: ignore[attr-defined]

    def changes(self) -> dict[str, Any]:
        """What was chosen, as values of the part."""
        return {name: self._value(name, said) for name, said in self.cleaned_data.items() if said}

    def _value(self, name: str, said: str) -> Any:
        rows = self._rows.get(name)
        if rows is None:
            return said.strip()
        return None if said == NONE else rows[said]

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        if not self.errors and not any(str(said).strip() for said in data.values()):
            raise forms.ValidationError(_("Choose what to set: everything is left as it is."))
        return data
