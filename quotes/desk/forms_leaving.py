"""Hand-over, comebacks and small jobs, as the desk types them."""

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from quotes.desk.forms import MinorMoney, PlainForm, plainly
from quotes.desk.views.days import DayField
from shop.floor.handing_over import Said
from shop.floor.models import Comeback, HandedOver, WalkIn
from shop.methods.models import Cause
from shop.routes.models import Task

LONGEST = 4_000


def _lines(label: Any, rows: int, help_text: Any = "") -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(label=label, max_length=LONGEST, required=False, widget=widget, help_text=help_text)


class HandOverForm(PlainForm):
    """What stands on the sheet. ``seen`` is the mark of the words that were read; ``let_go`` boxes are asked where money is late."""

    received_by = forms.CharField(
        label=_("Who receives it"), max_length=HandedOver._meta.get_field("received_by").max_length
    )
    on = DayField(label=_("Handed over on"))
    reading = forms.IntegerField(label=_("Distance on the clock"), min_value=0, max_value=10**7, required=False)
    keys = forms.CharField(label=_("Keys given back"), max_length=120, required=False)
    papers = forms.CharField(label=_("Papers given back"), max_length=200, required=False)
    replaced = _lines(_("What was replaced"), 6, _("One in each line."))
    after_care = _lines(_("After-care"), 7, _("One in each line. The next bike begins with what you write here."))
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    let_go_by = forms.CharField(
        label=_("Who lets it go unpaid"),
        max_length=HandedOver._meta.get_field("let_go_by").max_length,
        required=False,
        help_text=_("Kept beside the sheet; the customer does not read it."),
    )
    let_go_why = forms.CharField(
        label=_("Why it may go"), max_length=HandedOver._meta.get_field("let_go_why").max_length, required=False
    )

    def said(self) -> Said:
        given = self.cleaned_data
        names = ("received_by", "on", "reading", "keys", "papers", "replaced", "after_care")
        return Said(**{name: _plain(given[name]) for name in names})


def _plain(value: Any) -> Any:
    return value.replace("\r\n", "\n") if isinstance(value, str) else value


class ComebackForm(PlainForm):
    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    words = forms.CharField(label=_("What is wrong"), max_length=Comeback._meta.get_field("words").max_length)
    came_on = DayField(label=_("Came back on"))
    step = forms.ChoiceField(label=_("Comes from the step"), widget=forms.RadioSelect)
    cause = forms.ModelChoiceField(
        Cause.objects.filter(ended=False), label=_("Cause"), to_field_name="uid", required=False
    )
    pays = forms.ChoiceField(label=_("Who pays"), choices=Comeback.Pays.choices, widget=forms.RadioSelect)

    def __init__(self, *args: Any, steps: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["step"].choices = steps  # type: ignore[attr-defined]
        self.fields["step"].error_messages["required"] = _("Find the step it comes from, and choose it.")


class SettleComebackForm(PlainForm):
    how = forms.CharField(label=_("What was done"), max_length=Comeback._meta.get_field("settled_how").max_length)


class WalkInForm(PlainForm):
    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    what = forms.CharField(
        label=_("What is to be done"),
        max_length=Task._meta.get_field("name").max_length,
        help_text=_("Mechanics read this. Who it is for and what it costs stays with you."),
    )
    customer = forms.CharField(label=_("Customer"), max_length=WalkIn._meta.get_field("customer").max_length)
    phone = forms.CharField(label=_("Phone"), max_length=WalkIn._meta.get_field("phone").max_length, required=False)
    minutes = forms.IntegerField(
        label=_("Minutes it may take, if known"), min_value=1, max_value=100_000, required=False
    )
    agreed_on = DayField(label=_("Agreed on"))

    field_order = ("what", "customer", "phone", "agreed_minor", "minutes", "agreed_on")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["agreed_minor"] = MinorMoney(label=_("Agreed price with tax"))
        self.order_fields(self.field_order)
        plainly(self)


class PaidForm(PlainForm):
    on = DayField(label=_("Paid on"))
