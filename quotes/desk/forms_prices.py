"""Forms of the list of prices to confirm: a better price of one thing, and several that stand as they are."""

from collections.abc import Collection, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import MoneyField, Number, plainly
from quotes.desk.forms_buying import NOT_A_DAY, STILL_TO_COME, DayInput
from quotes.engine.canonical import text
from shop.rates.anew import Said
from shop.rates.engine_values import money
from shop.rates.models import ConsumablePrice, ServicePrice, Status
from shop.text import quantity

SURE = [(Status.SEEN.value, Status.SEEN.label), (Status.PHONED.value, Status.PHONED.label)]


class SaidForm(forms.Form):
    """How sure a price is, who said so, and until when it holds."""

    status = forms.ChoiceField(label=gettext_lazy("How sure"), choices=Status)
    said_by = forms.CharField(label=gettext_lazy("Who said so"), max_length=120, required=False)
    valid_until = forms.DateField(
        label=gettext_lazy("Holds until"),
        widget=DayInput(),
        required=False,
        error_messages={"invalid": NOT_A_DAY},
    )

    def said(self) -> Said:
        given = self.cleaned_data
        return Said(given["status"], given["said_by"], given["valid_until"])


class RatePriceForm(SaidForm):
    """A better price in the rate book. ``seen`` is the row that was looked at."""

    seen = forms.IntegerField(widget=forms.HiddenInput)

    def _ready(self, row: ConsumablePrice | ServicePrice) -> None:
        said = {"status": row.status, "said_by": row.said_by, "valid_until": row.valid_until, "seen": row.pk}
        self.initial.update(said)
        plainly(self)
        self.fields["seen"].widget = forms.HiddenInput()  # it counts rows, and is nobody's to change


class ConsumablePriceForm(RatePriceForm):
    pack_size = Number(min_value=Decimal("0.001"), max_digits=10, decimal_places=3)
    pack_price = MoneyField(label=gettext_lazy("Price of a pack"), min_value=0)
    field_order = ("pack_price", "pack_size")

    def __init__(self, data: Any = None, *, row: ConsumablePrice) -> None:
        initial = {"pack_price": money(row.pack_price_minor), "pack_size": row.pack_size}
        super().__init__(data, initial=initial, auto_id=f"c{row.consumable_id}-%s")
        self.fields["pack_size"].label = _("Pack [%(unit)s]") % {"unit": row.consumable.unit}
        self._ready(row)

    def amounts(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("pack_size", "pack_price")}


class ServicePriceForm(RatePriceForm):
    """Its breaks stay where they are; each has a rate of its own."""

    lot_charge = MoneyField(label=gettext_lazy("Charge per lot"), min_value=0)
    minimum = MoneyField(label=gettext_lazy("Minimum per lot"), min_value=0)
    trip = MoneyField(label=gettext_lazy("Cost of a trip"), min_value=0)

    def __init__(self, data: Any = None, *, row: ServicePrice) -> None:
        breaks = sorted(row.breaks.all(), key=lambda item: item.quantity)
        rates = [Decimal(item.rate_e4).scaleb(-4) for item in breaks]
        initial: dict[str, Any] = {f"rate_{n}": Decimal(text(rate)) for n, rate in enumerate(rates)}
        initial |= {
            "lot_charge": money(row.lot_minor),
            "minimum": money(row.minimum_minor),
            "trip": money(row.trip_minor),
        }
        super().__init__(data, initial=initial, auto_id=f"s{row.service_id}-%s")
        self.rates = [f"rate_{n}" for n in range(len(breaks))]
        for name, item in zip(self.rates, breaks, strict=True):
            self.fields[name] = Number(
                label=_rate_label(row, item.quantity), min_value=0, decimal_places=4, max_digits=14
            )
        self.order_fields([*self.rates, "lot_charge", "minimum", "trip"])
        self._ready(row)

    def amounts(self) -> dict[str, Any]:
        given = self.cleaned_data
        rates: Sequence[Decimal] = [given[name] for name in self.rates]
        return {"rates": rates} | {name: given[name] for name in ("lot_charge", "minimum", "trip")}


def _rate_label(row: ServicePrice, start: Decimal) -> str:
    measure = {"measure": row.service.get_measure_display(), "start": quantity(start)}
    return _("Rate per %(measure)s, from %(start)s") % measure if start else _("Rate per %(measure)s") % measure


class AsTheyAreForm(forms.Form):
    """Several prices that somebody confirmed as they stand. Each is named with what was seen of it."""

    price = forms.MultipleChoiceField(label=gettext_lazy("Prices"), required=False)
    listed = forms.MultipleChoiceField(required=False)
    all = forms.BooleanField(label=gettext_lazy("All that are listed on this page"), required=False)
    status = forms.ChoiceField(label=gettext_lazy("How sure"), choices=SURE)
    said_by = forms.CharField(label=gettext_lazy("Who said so"), max_length=120)
    said_on = forms.DateField(label=gettext_lazy("Said on"), widget=DayInput(), error_messages={"invalid": NOT_A_DAY})
    valid_until = forms.DateField(
        label=gettext_lazy("Hold until"), widget=DayInput(), required=False, error_messages={"invalid": NOT_A_DAY}
    )

    prefix = "stand"

    def __init__(self, *args: Any, known: Sequence[str] = (), told: Collection[str] = (), **kwargs: Any) -> None:
        """``told`` are those of ``known`` that somebody told by phone already."""
        super().__init__(*args, **kwargs)
        self.told = frozenset(told)
        for name in ("price", "listed"):
            self.fields[name].choices = [(key, key) for key in known]  # type: ignore[attr-defined]
        plainly(self)
        overtaken = _("One of them was changed meanwhile. Look again, then confirm it.")
        for name in ("price", "listed"):
            self.fields[name].error_messages["invalid_choice"] = overtaken

    def clean_said_on(self) -> date:
        day: date = self.cleaned_data["said_on"]
        if day > timezone.localdate():
            raise forms.ValidationError(STILL_TO_COME)
        return day

    def clean(self) -> dict[str, Any]:
        data: dict[str, Any] = super().clean() or {}
        chosen = self._all(data) if data.get("all") else data.get("price")
        if not chosen and not self.errors.keys() & {"price", "listed"}:
            raise forms.ValidationError(_("Tick the prices that stand, or all of them."))
        return data | {"chosen": chosen or []}

    def _all(self, data: dict[str, Any]) -> list[str]:
        """All that are listed; but what one person told by phone is not put into the mouth of another."""
        heard = self.told if data.get("status") == Status.PHONED else ()
        return [value for value in data.get("listed") or () if value not in heard]


def brought_to(form: forms.BaseForm, otherwise: str) -> None:
    """Let the page open at the first box that is wrong; where none is, at ``otherwise``."""
    wrong = next((name for name in form.fields if name in form.errors and not form[name].is_hidden), otherwise)
    if wrong in form.fields:
        form.fields[wrong].widget.attrs["autofocus"] = True
