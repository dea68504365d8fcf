"""Forms of bought-in parts: by source, with who said the price, how long it holds, and how long it is searched for."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from quotes.desk.forms import MoneyField, StepForm, plainly
from quotes.engine.money import from_minor, places
from shop import currency
from shop.rates.models import Status
from shop.routes.models import Source, Step

NOT_A_DAY = gettext_lazy("Enter the day as year-month-day, such as 2026-03-02.")
STILL_TO_COME = gettext_lazy("This day is still to come. Give the day it was, or leave it empty.")
PRICED = ("buy_price", "buy_status", "buy_said_by", "buy_said_on", "buy_valid_until")
SEARCHED = ("buy_searching_since",)
CORE = ("buy_core", "buy_core_by")
#: Boxes that only some sources need.
BY_SOURCE = (*PRICED, *SEARCHED, *CORE)
DAYS = ("buy_said_on", "buy_valid_until", "buy_searching_since", "buy_core_by")
OF_SOURCE = {
    Source.NEW_OLD_STOCK: {*PRICED, *SEARCHED},
    Source.USED: {*PRICED, *SEARCHED},
    Source.REPRODUCTION: {*PRICED},
    Source.EXCHANGE: {*PRICED, *CORE},
    Source.CUSTOMERS_OWN: set[str](),
}


class DayInput(forms.DateInput):
    """A day as browsers pick it."""

    def __init__(self) -> None:
        super().__init__(attrs={"type": "date"}, format="%Y-%m-%d")


class BuyForm(StepForm):
    """What may be set about a bought-in part. Boxes that its source does not need stay out of the way: see ``idle``."""

    buy_core = MoneyField(
        label=gettext_lazy("Back for the old part, per piece"),
        min_value=0,
        required=False,
        help_text=gettext_lazy(
            "Shown, and not taken off the price: it comes back only when the old part does (common practice)."
        ),
    )

    class Meta(StepForm.Meta):
        fields = (
            "buy",
            "buy_source",
            *PRICED,
            *SEARCHED,
            *CORE,
            "buy_handling",
            "fail_chance",
            "back_to",
            "scrap_chance",
            "replacement",
        )
        widgets = {name: DayInput() for name in DAYS}

    def __init__(self, data: Any = None, *, instance: Step) -> None:
        super().__init__(data, instance=instance)
        self.initial["buy_core"] = from_minor(instance.buy_core_minor, digits=places(currency.code()))
        for name in DAYS:
            self.fields[name].error_messages["invalid"] = NOT_A_DAY
        if instance.buy_searching_since:
            self.fields["buy_searching_since"].help_text = searched(instance.buy_searching_since, timezone.localdate())
        if instance.buy_source == Source.CUSTOMERS_OWN:
            self.fields["buy_source"].help_text = _(
                "No price: handling is charged, and there is no warranty on the part. The offer says so."
            )
        self.order_fields(self.Meta.fields)

    @property
    def idle(self) -> set[str]:
        """Boxes with nothing in them that the source of the part does not ask for."""
        asked = OF_SOURCE.get(Source(self.instance.buy_source)) if self.instance.buy_source else {*PRICED}
        return {name for name in BY_SOURCE if name not in (asked or ()) and self._is_empty(name)}

    def _is_empty(self, name: str) -> bool:
        stands = self.initial.get(name) not in (None, "", Decimal(0))
        return not self.errors.get(name) and (name == "buy_status" or not stands)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        for name in ("buy_said_on", "buy_searching_since"):
            if data.get(name) and data[name] > timezone.localdate():
                self.add_error(name, STILL_TO_COME)
        return data


def searched(since: date, today: date) -> str:
    """How long a part is being searched for, in weeks."""
    weeks = (today - since).days // 7
    if weeks < 1:
        return _("Less than a week so far.")
    return ngettext("%(weeks)s week so far.", "%(weeks)s weeks so far.", weeks) % {"weeks": weeks}


def step_form(data: Any = None, *, instance: Step) -> StepForm:
    """The form of a step: a bought-in part is asked more."""
    return BuyForm(data, instance=instance) if instance.buy else StepForm(data, instance=instance)


def dated(changes: dict[str, Any], today: date, *, by: tuple[str, ...] = ("buy_price_minor",)) -> dict[str, Any]:
    """A price that was changed by hand was said today, unless another day was given with it."""
    given = changes.keys()
    return changes | {"buy_said_on": today} if given & set(by) and "buy_said_on" not in given else changes


class PurchasePriceForm(forms.Form):
    """A better price of one bought-in part, where the list of prices to confirm stands."""

    buy_price = MoneyField(label=gettext_lazy("Price per piece"), min_value=0)
    buy_status = forms.ChoiceField(label=gettext_lazy("How sure"), choices=Status)
    buy_said_by = forms.CharField(label=gettext_lazy("Who said so"), max_length=120, required=False)
    buy_said_on = forms.DateField(
        label=gettext_lazy("Said on"),
        widget=DayInput(),
        required=False,
        help_text=gettext_lazy("Today, if left as it is."),
    )
    buy_valid_until = forms.DateField(label=gettext_lazy("Holds until"), widget=DayInput(), required=False)

    def __init__(self, data: Any = None, *, step: Step) -> None:
        price = from_minor(step.buy_price_minor, digits=places(currency.code()))
        initial = {"buy_price": price} | {name: getattr(step, name) for name in PRICED if name != "buy_price"}
        super().__init__(data, initial=initial, auto_id=f"{step.uid}-%s")
        plainly(self)
        for name in ("buy_said_on", "buy_valid_until"):
            self.fields[name].error_messages["invalid"] = NOT_A_DAY

    def clean_buy_said_on(self) -> date | None:
        day: date | None = self.cleaned_data["buy_said_on"]
        if day and day > timezone.localdate():
            raise forms.ValidationError(STILL_TO_COME)
        return day
