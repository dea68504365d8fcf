from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _


class RefuseForm(forms.Form):
    reason = forms.CharField(label=_("Why not"), max_length=200)


class LookAlikesForm(forms.Form):
    """What somebody says of a bike by telephone; all of it may be left out but one thing."""

    maker = forms.CharField(label=_("Maker"), max_length=60, required=False)
    model = forms.CharField(label=_("Model"), max_length=60, required=False)
    year = forms.IntegerField(label=_("Year"), min_value=1880, max_value=2100, required=False)
    parts = forms.IntegerField(label=_("Parts to be done, roughly"), min_value=1, max_value=1_000, required=False)
    shabby = forms.IntegerField(label=_("Of these corroded or seized [%]"), min_value=0, max_value=100, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if not self.errors and not self.said():
            raise forms.ValidationError(_("Say at least one thing of the bike."))
        return cleaned

    def said(self) -> dict[str, str | int]:
        """What was said, and nothing else."""
        return {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
