"""Forms of the order pages: what is ordered, what came, old parts that go back, suppliers."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import MinorMoney, Number, PlainForm, plainly
from quotes.desk.views.days import DayField
from shop.methods.models import Consumable
from shop.routes.models import Step
from shop.vendor_jobs.models import CoreReturn, Order, Ordered, Supplier

LONGEST_NAME = 120


class SupplierForm(PlainForm):
    """What is known of a supplier."""

    name = forms.CharField(label=gettext_lazy("Name"), max_length=Supplier._meta.get_field("name").max_length)
    phone = forms.CharField(label=gettext_lazy("Phone"), max_length=40, required=False)
    email = forms.EmailField(label=gettext_lazy("E-mail"), required=False)
    address = forms.CharField(label=gettext_lazy("Address"), required=False, widget=forms.Textarea(attrs={"rows": 3}))
    note = forms.CharField(label=gettext_lazy("Note"), max_length=300, required=False)


class OrderForm(PlainForm):
    """Where and when something was ordered, and what was told."""

    supplier = forms.ModelChoiceField(
        Supplier.objects.all(), label=gettext_lazy("Supplier"), to_field_name="uid", empty_label="—"
    )
    ordered_on = DayField(label=gettext_lazy("Ordered on"))
    due_on = DayField(label=gettext_lazy("Comes on, as told"), required=False)
    said_by = forms.CharField(label=gettext_lazy("Who said so"), max_length=LONGEST_NAME, required=False)
    reference = forms.CharField(
        label=gettext_lazy("Their number"), max_length=Order._meta.get_field("reference").max_length, required=False
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, initial={"ordered_on": timezone.localdate()})


class WantedForm(PlainForm):
    """Something to order: ticked, with its price."""

    tells_optional = False

    ordered = forms.BooleanField(required=False)

    def __init__(self, data: Any = None, *, step: Step) -> None:
        super().__init__(data, prefix=str(step.uid))
        self.step = step
        self.fields["price_minor"] = MinorMoney(label=_("Price each, before tax"), required=False)
        self.initial["price_minor"] = step.buy_price_minor
        self.fields["ordered"].label = f"{step} · {step.part}"
        plainly(self)

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if given.get("ordered") and given.get("price_minor") is None and "price_minor" not in self.errors:
            self.add_error("price_minor", _("Give the price, or 0 if it costs nothing."))
        return given


class PackForm(PlainForm):
    """Packs for the shelf, beside or instead of what the bikes need."""

    tells_optional = False

    consumable = forms.ModelChoiceField(
        Consumable.objects.all(), label=gettext_lazy("Material for the shelf"), to_field_name="uid", required=False
    )
    packs = Number(
        label=gettext_lazy("Packs"), min_value=1, max_value=10_000, max_digits=9, decimal_places=3, required=False
    )
    pack_size = Number(
        label=gettext_lazy("In a pack"), min_value=0, max_value=100_000, max_digits=10, decimal_places=3, required=False
    )

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, prefix="pack")
        self.fields["price_minor"] = MinorMoney(label=_("Price of a pack, before tax"), required=False)
        plainly(self)

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if given.get("consumable"):
            for name in ("packs", "pack_size", "price_minor"):
                if not given.get(name) and name not in self.errors and given.get(name) != 0:
                    self.add_error(name, _("Give it as well: the order is of so many packs at this price."))
            if given.get("pack_size") == 0:
                self.add_error("pack_size", _("A pack holds more than nothing. Give its size."))
        return given


class CameForm(PlainForm):
    """What came of one line; without an answer it is still on order."""

    tells_optional = False

    outcome = forms.ChoiceField(
        label=gettext_lazy("What came of it"),
        required=False,
        choices=[("", gettext_lazy("not here yet")), *((one.value, one.label) for one in Ordered.Outcome if one.value)],
    )
    quantity = Number(
        label=gettext_lazy("How many"), min_value=0, max_value=1_000_000, max_digits=9, decimal_places=3, required=False
    )
    note = forms.CharField(label=gettext_lazy("Note"), max_length=300, required=False)

    def __init__(self, data: Any = None, *, line: Ordered) -> None:
        super().__init__(data, prefix=str(line.uid))
        self.line = line
        self.initial["quantity"] = line.quantity.normalize()
        self.fields["charged_minor"] = MinorMoney(label=_("Charged for it, before tax"), required=False)
        plainly(self)

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if given.get("outcome") == Ordered.Outcome.WRONG and not given.get("note"):
            self.add_error("note", _("Say what is wrong with it: the supplier will ask."))
        return given


class ArrivalForm(PlainForm):
    """When it came, and who looked at it."""

    on = DayField(label=gettext_lazy("Came on"))
    looked_by = forms.CharField(label=gettext_lazy("Who looked at it"), max_length=LONGEST_NAME)

    def __init__(self, data: Any = None, *, looked_by: str = "") -> None:
        super().__init__(data, initial={"on": timezone.localdate(), "looked_by": looked_by})


class NewDayForm(PlainForm):
    """Another day that the supplier told us."""

    due_on = DayField(label=gettext_lazy("Comes on"))
    said_by = forms.CharField(label=gettext_lazy("Who said so"), max_length=LONGEST_NAME, required=False)


class CoreForm(PlainForm):
    """The old part went back."""

    tells_optional = False

    sent_on = DayField(label=gettext_lazy("Went back on"))
    note = forms.CharField(
        label=gettext_lazy("Note"), max_length=CoreReturn._meta.get_field("note").max_length, required=False
    )

    def __init__(self, data: Any = None, *, step: Step) -> None:
        super().__init__(data, prefix=str(step.uid), initial={"sent_on": timezone.localdate()})
        self.step = step


class CreditForm(PlainForm):
    """What was given for an old part."""

    on = DayField(label=gettext_lazy("Given on"))

    def __init__(self, data: Any = None, *, core: CoreReturn) -> None:
        super().__init__(data, prefix=str(core.uid), initial={"on": timezone.localdate()})
        self.core = core
        self.fields["credited_minor"] = MinorMoney(label=_("Given for it, before tax"))
        plainly(self)


def chosen(forms_of: Sequence[WantedForm]) -> list[WantedForm]:
    """Those that are ticked."""
    return [form for form in forms_of if form.cleaned_data.get("ordered")]
