"""Forms of possible damage on a part."""

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy

from quotes.desk.forms import MinorMoney, plainly
from shop import currency
from shop.restorations.damage import DAMAGE_FIELDS
from shop.restorations.models import PartDamage

if TYPE_CHECKING:  # ModelForm takes its model in brackets for the type checker only
    DamageModelForm = forms.ModelForm[PartDamage]
else:
    DamageModelForm = forms.ModelForm

COSTS = {
    "low_minor": gettext_lazy("Costs at least"),
    "likely_minor": gettext_lazy("Most likely"),
    "high_minor": gettext_lazy("At most"),
}


class DamageForm(DamageModelForm):
    """A damage the library does not know, or one to be changed."""

    class Meta:
        model = PartDamage
        fields = DAMAGE_FIELDS
        field_classes = dict.fromkeys(COSTS, MinorMoney)

    def __init__(self, data: Any = None, *, instance: PartDamage | None = None) -> None:
        prefix = str(instance.uid) if instance else "damage"
        super().__init__(data, instance=instance, auto_id=f"{prefix}-%s")
        for name, label in COSTS.items():
            self.fields[name].label = f"{label} [{currency.code()}]"
        plainly(self)

    def _post_clean(self) -> None:
        """The service validates the model; here it would write to the row and say all things twice."""


class UsualForm(forms.Form):
    """Who pays for the usual damages that are added in one go, if they are found."""

    treatment = forms.ChoiceField(
        label=gettext_lazy("Who pays if they are found"),
        choices=PartDamage.Treatment,
        initial=PartDamage.Treatment.OURS,
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="usual-%s")
        plainly(self)


class SettleForm(forms.Form):
    """Found or not, and what was seen. Which button was pressed says the first."""

    settled = forms.ChoiceField(choices=PartDamage.Settled)
    note = forms.CharField(
        label=gettext_lazy("What was seen"),
        max_length=200,
        required=False,
        help_text=gettext_lazy("Needed when it was found."),
    )
    again = forms.BooleanField(
        label=gettext_lazy("Lay what is on the route already a second time"),
        required=False,
        help_text=gettext_lazy("Only if the work is really done twice: it is then charged twice, and sent out twice."),
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="settle-%s")
        plainly(self)
