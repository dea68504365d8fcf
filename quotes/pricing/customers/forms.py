"""What a customer fills in to answer a quote."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from quotes.pricing.customers.deviations import Deviation


class AnswerForm(forms.Form):
    """``link`` names the page that was looked at: another link may have been opened in this browser since."""

    ACT = ""

    link = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Both forms stand on one page, so their boxes are named apart."""
        super().__init__(*args, **(kwargs | {"auto_id": f"{self.ACT}_%s"}))

    said_by = forms.CharField(
        label=_("Your name"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": _("Write your name, so that it is clear who answered.")},
    )


class AcceptForm(AnswerForm):
    ACT = "accept"

    signed = forms.MultipleChoiceField(widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: Any, deviations: list[Deviation], **kwargs: Any) -> None:
        """A quote without deviations asks for none."""
        super().__init__(*args, **kwargs)
        if not deviations:
            del self.fields["signed"]
            return
        signed = self.fields["signed"]
        assert isinstance(signed, forms.MultipleChoiceField)
        signed.choices = [(one.key, words(one)) for one in deviations]
        signed.label = ngettext(
            "One part gets another finish than the factory gave it",
            "%(count)d parts get another finish than the factory gave them",
            len(deviations),
        ) % {"count": len(deviations)}
        signed.help_text = _("Tick each that you agree to. If you do not agree to one, ask us before you accept.")
        everything = _("Tick each of them to accept. If you do not agree to one, ask us before you accept.")
        signed.error_messages["required"] = everything


def words(one: Deviation) -> str:
    """What is ticked, as a sentence the customer says."""
    if not one.finish:
        return _("%(part)s: I agree to this deviation. %(deviation)s") % {"part": one.part, "deviation": one.deviation}
    said = _("%(part)s: I agree to %(finish)s. Deviation: %(deviation)s")
    return said % {"part": one.part, "finish": one.finish, "deviation": one.deviation}


class DeclineForm(AnswerForm):
    ACT = "decline"

    reason = forms.CharField(
        label=_("Why not?"),
        max_length=200,
        help_text=_("A few words are enough: they help us to make the next offer better."),
        error_messages={"required": _("Say in a word why not.")},
    )
