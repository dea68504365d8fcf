from django import forms
from django.utils.translation import gettext_lazy as _

from quotes.pricing.models import Outcome


class OutcomeForm(forms.Form):
    """What became of an issued quote. The fields are called as in `Outcome`, so that its errors stand at them."""

    kind = forms.ChoiceField(label=_("Outcome"), choices=Outcome.Kind.choices, widget=forms.RadioSelect)
    who = forms.CharField(label=_("Who said so"), max_length=120)
    how = forms.ChoiceField(label=_("How"), choices=[("", "–"), *Outcome.How.choices])
    said_on = forms.DateField(label=_("When"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    reason = forms.CharField(
        label=_("Reason"), max_length=200, required=False, help_text=_("Needed when it was declined.")
    )
