"""The form of each kind of rate."""

from typing import Any

from django import forms
from django.db.models import Model
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from quotes.desk.forms import Number
from quotes.desk.rates.tables import RateForm, heading
from quotes.desk.views.days import DayField
from quotes.engine.inputs import Break
from quotes.engine.inputs import PaymentStage as Stage
from shop import currency
from shop.methods.models import StandardTime
from shop.people.models import Grade
from shop.rates.models import ConsumablePrice, GradeRate, Odds, PaymentStage, PricePolicy, ServicePrice, Status, TaxRate


class LabourForm(RateForm):
    model = GradeRate
    numbers = ("cost_rate", "charge_rate", "pace")


class Sure(forms.Form):
    """How sure a price is."""

    status = forms.ChoiceField(label=gettext_lazy("The price is"), choices=Status.choices)
    said_by = forms.CharField(
        label=gettext_lazy("Who said so"),
        max_length=120,
        required=False,
        help_text=gettext_lazy("A person, a price list, an offer with its number."),
    )
    valid_until = DayField(label=gettext_lazy("The price holds until"), required=False)


class ConsumableForm(RateForm, Sure):
    model = ConsumablePrice
    numbers = ("pack_size", "pack_price")


class ServiceForm(RateForm, Sure):
    model = ServicePrice
    numbers = ("lot_charge", "minimum", "trip", "trip_share", "handling")
    rows = "breaks"
    row_word = gettext_lazy("Price break")
    cells = {
        "quantity": lambda: Number(label=gettext_lazy("From quantity")),
        "rate": lambda: Number(label=_("Rate per measure [%(currency)s]") % {"currency": currency.code()}),
    }
    handling_grade = forms.ModelChoiceField(Grade.objects.all(), label=gettext_lazy("Handled by"))

    def said(self) -> dict[str, Any]:
        return super().said() | {"breaks": [Break(row["quantity"], row["rate"]) for row in self.filled()]}


class TaxForm(RateForm):
    model = TaxRate
    numbers = ("percent",)
    name = forms.CharField(label=gettext_lazy("Name on quotes"), max_length=60)


class NewTaxForm(TaxForm):
    """A tax that is not there yet."""

    code = forms.SlugField(
        label=gettext_lazy("Code"),
        max_length=20,
        error_messages={"invalid": gettext_lazy("Use letters, digits and hyphens only, such as “reduced”.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.boxes = ["name", "code", "percent", "valid_from"]
        self.order_fields(self.boxes)


def _choices(model: type[Model], name: str) -> forms.ChoiceField:
    field: Any = model._meta.get_field(name)
    return forms.ChoiceField(label=field.verbose_name, choices=field.choices)


class PolicyForm(RateForm):
    """How the shop prices."""

    model = PricePolicy
    numbers = (
        "labour_margin",
        "overhead_margin",
        "material_margin",
        "vendor_margin",
        "bought_in_margin",
        "floor",
        "overhead_rate",
        "overhead_percent",
        "handling_percent",
        "mixed_percent",
        "comebacks_percent",
        "storage",
    )
    wholes = ("storage_after_days", "quiet_days", "validity_days")
    groups = (
        (
            gettext_lazy("What is added to cost"),
            (
                "price_by",
                "labour_margin",
                "overhead_margin",
                "material_margin",
                "vendor_margin",
                "bought_in_margin",
                "floor",
                "comebacks_percent",
            ),
        ),
        (
            gettext_lazy("Overhead and handling"),
            (
                "overhead_by",
                "overhead_rate",
                "overhead_percent",
                "handling_percent",
                "handling_grade",
                "mixed_percent",
            ),
        ),
        (gettext_lazy("Tax and rounding"), ("tax_by", "rounding")),
        (
            gettext_lazy("What customers are told, and storage"),
            ("validity_days", "quiet_days", "storage_after_days", "storage", "assumptions"),
        ),
    )
    rare = ("handling_percent", "handling_grade", "mixed_percent")
    rows = "stages"
    row_word = gettext_lazy("Payment stage")
    cells = {
        "percent": lambda: Number(label=gettext_lazy("Share of the total [%]")),
        "name": lambda: forms.CharField(label=gettext_lazy("Name"), max_length=60),
        "due": lambda: forms.CharField(label=gettext_lazy("Due, in the customer's words"), max_length=100),
        "event": lambda: _choices(PaymentStage, "event"),
        "days": lambda: forms.IntegerField(
            label=gettext_lazy("And so many days after"), min_value=0, max_value=3650, required=False
        ),
    }
    price_by = forms.ChoiceField(choices=PricePolicy.PriceBy.choices)
    overhead_by = forms.ChoiceField(choices=PricePolicy.OverheadBy.choices)
    handling_grade = forms.ModelChoiceField(Grade.objects.all(), required=False)
    tax_by = forms.ChoiceField(choices=PricePolicy.TaxBy.choices)
    rounding = forms.ChoiceField(choices=PricePolicy.Rounding.choices)
    assumptions = forms.CharField(widget=forms.Textarea(attrs={"rows": 4}), required=False, max_length=4000)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("price_by", "overhead_by", "handling_grade", "tax_by", "rounding", "assumptions"):
            self.fields[name].label = heading(PricePolicy, name)

    def said(self) -> dict[str, Any]:
        rows = self.filled()
        stages = [Stage(row["name"], row["percent"], row["due"], row["event"], row["days"] or 0) for row in rows]
        said = super().said()
        return said | {"stages": stages, "assumptions": said["assumptions"].replace("\r\n", "\n")}


class OddsForm(RateForm):
    """The fee for strip and inspect, chances and spreads."""

    model = Odds
    numbers = (
        "common",
        "sometimes",
        "rare",
        "strong",
        "fair",
        "weak",
        "none",
        "noticed",
        "proven",
        "seen",
        "phoned",
        "guessed",
        "pace",
        "kept",
        "contingency_margin",
        "cap",
        "inspect_fee",
    )
    wholes = ("credit_days",)
    groups = (
        (gettext_lazy("Strip and inspect"), ("inspect_fee", "credit_days")),
        (gettext_lazy("What strip-down may reveal"), ("common", "sometimes", "rare")),
        (
            gettext_lazy("What evidence of a finish says"),
            ("strong", "fair", "weak", "none", "noticed", "proven"),
        ),
        (gettext_lazy("How far figures are out"), ("seen", "phoned", "guessed", "pace")),
        (gettext_lazy("How sure prices and days are"), ("kept", "contingency_margin", "cap")),
    )


class TimeForm(RateForm):
    """The standard time of an operation."""

    model = StandardTime
    numbers = ("setup", "run", "allowance", "shop_factor", "spread")
    rare = ("allowance", "shop_factor", "spread")
