from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from quotes.pricing.models import Mailed, Outcome, Stage
from shop.outbox.mail import one_line

#: What a customer says. Withdrawing is the shop's own, and has a form of its own.
SAID = [choice for choice in Outcome.Kind.choices if choice[0] != Outcome.Kind.WITHDRAWN]
#: How the desk hears of it. What is said on the customer's page arrives by itself.
HEARD = [choice for choice in Outcome.How.choices if choice[0] != Outcome.How.ONLINE]

NO_OFFER = _("A ballpark is no offer, so nobody can accept it. Issue strip and inspect, or the main offer.")


class OutcomeForm(forms.Form):
    """What the customer said of a quote. The fields are called as in `Outcome`, so that its errors stand at them."""

    kind = forms.ChoiceField(label=_("Answer"), choices=SAID, widget=forms.RadioSelect)
    who = forms.CharField(label=_("Who said so"), max_length=120)
    how = forms.ChoiceField(label=_("How"), choices=[("", "–"), *HEARD])
    said_on = forms.DateField(label=_("When"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
    reason = forms.CharField(
        label=_("Reason"),
        max_length=200,
        required=False,
        help_text=_("Needed when it was declined. The customer does not read it."),
    )

    def __init__(self, *args: Any, stage: str = "", **kwargs: Any) -> None:
        """A ballpark is no offer: there is nothing to accept."""
        super().__init__(*args, **kwargs)
        if stage == Stage.BALLPARK:
            kind = self.fields["kind"]
            assert isinstance(kind, forms.ChoiceField)
            kind.choices = [choice for choice in SAID if choice[0] != Outcome.Kind.ACCEPTED]
            kind.error_messages["invalid_choice"] = NO_OFFER


class WithdrawForm(forms.Form):
    why = forms.CharField(
        label=_("Why"),
        max_length=200,
        help_text=_("For the workshop only. The customer reads that it was withdrawn, not why."),
        error_messages={"required": _("Say in a word why it is withdrawn.")},
    )


class MailForm(forms.Form):
    """A mail that brings a quote. ``once`` makes the same form sent twice one mail."""

    address = forms.EmailField(
        label=_("To"),
        max_length=254,
        validators=[one_line],
        error_messages={"required": _("Write the customer's e-mail address.")},
    )
    subject = forms.CharField(
        label=_("Subject"), max_length=Mailed._meta.get_field("subject").max_length, validators=[one_line]
    )
    text = forms.CharField(
        label=_("Text"),
        max_length=Mailed._meta.get_field("text").max_length,
        widget=forms.Textarea(attrs={"rows": 12}),
        help_text=_("The link to the customer's page is added below it, and the PDF is attached."),
    )
    once = forms.UUIDField(widget=forms.HiddenInput)
