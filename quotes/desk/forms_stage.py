"""The choice of what goes out: the four stages of a quote, each in a sentence."""

from django import forms
from django.utils.translation import gettext_lazy

from quotes.pricing.models import Stage

STAGES = (
    (Stage.BALLPARK, gettext_lazy("A range, before anybody has seen inside. No offer: nothing is authorised by it.")),
    (Stage.INSPECT, gettext_lazy("The steps that belong to strip and inspect, for the fixed fee in the rate book.")),
    (Stage.MAIN, gettext_lazy("Everything in scope. Accepted, it is the job.")),
    (Stage.VARIATION, gettext_lazy("Only what differs from the main offer that was accepted.")),
)


class StageForm(forms.Form):
    """``seen_stage`` is the stage that the page showed."""

    stage = forms.ChoiceField(choices=Stage)
    seen_stage = forms.ChoiceField(choices=Stage, required=False)
