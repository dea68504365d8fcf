from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from quotes.pricing.models import Outcome, Stage


class OutcomeForm(forms.Form):
    """What became of an issued quote. The fields are called as in `Outcome`, so that its errors stand at them."""

    kind = forms.ChoiceField(label=_("Outcome"), choices=Outcome.Kind.choices, widget=forms.RadioSelect)
    who = forms.CharField(label=_("Who said so"), max_length=120)
    how = forms.ChoiceField(label=_("How"), choices=[("", "–"), *Outcome.How.choices])
    said_on = forms.DateField(label=_("When"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))

    def __init__(self, *args: Any, stage: str = "", **kwargs: Any) -> None:
        """A ballpark is no offer: there is nothing to accept."""
        super().__init__(*args, **kwargs)
        if stage == Stage.BALLPARK:
            kind = self.fields["kind"]
            assert isinstance(kind, forms.ChoiceField)
            kind.choices = [choice for choice in Outcome.Kind.choices if choice[0] != Outcome.Kind.ACCEPTED]

    reason = forms.CharField(
        label=_("Reason"), max_length=200, required=False, help_text=_("Needed when it was declined.")
    )
