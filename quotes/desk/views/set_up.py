"""Setting up a workshop that begins empty: five questions, then a price can be made."""

from decimal import Decimal
from typing import Any

from babel.numbers import get_currency_name, get_territory_currencies
from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import get_language, gettext_lazy, to_locale
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from quotes.desk import saving
from quotes.desk.forms import Number
from quotes.desk.views.editor import who
from quotes.desk.views.times import TimesForm, country_names, usual_hours
from quotes.engine.money import MINOR_UNITS
from shop import currency
from shop.people.models import Shop
from shop.people.roles import ROLE_MANAGER, role_required
from shop.rates.models import PricePolicy
from shop.rates.set_up import is_set_up, set_up

OTHER = USUAL = "-"


class Percent(Number):
    """A rate typed with its sign or without: 20, 20 %."""

    # Django's own decimal field is a whole-number field to the type checker.
    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        return super().to_python(value.strip().removesuffix("%").strip() if isinstance(value, str) else value)


class SetUpForm(TimesForm):
    """Five questions, hours as on the page of working times; beside them the name, and how labour is sold."""

    name = forms.CharField(label=gettext_lazy("What your customers call this workshop"), max_length=100)
    currency = forms.ChoiceField(label=gettext_lazy("Currency"))
    tax = Percent(label=gettext_lazy("Tax on your work [%]"), min_value=0, max_digits=5, decimal_places=3)
    price_by = forms.ChoiceField(
        label=gettext_lazy("Labour is sold by"),
        choices=[
            (
                PricePolicy.PriceBy.MARGIN,
                gettext_lazy("Cost and margin: what an hour costs you, with your margin on it."),
            ),
            (
                PricePolicy.PriceBy.CHARGE_OUT,
                gettext_lazy("Charge-out rates: a fixed price per hour for each labour grade, overhead included."),
            ),
        ],
        widget=forms.RadioSelect,
        initial=PricePolicy.PriceBy.MARGIN,
        help_text=gettext_lazy("If you are not sure, leave the first. It can be changed in the rate book."),
    )

    field_order = ("name", "country", "currency", "tax", "hands", "price_by")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["subdivision"], self.fields["productive"]
        self.fields["country"] = forms.ChoiceField(
            label=_("Country"),
            choices=[
                ("", _("choose")),
                *country_names(),
                (OTHER, _("Another country: no public holidays")),
            ],
            help_text=_("Its public holidays are kept."),
        )
        self.fields["hands"].help_text = _(
            "You too, if you do. %(percent)s %% of their hours are taken to go into bikes: see “Working times” later."
        ) % {"percent": Shop._meta.get_field("productive").default}
        fixed = currency.fixed()
        chosen = self.fields["currency"]
        assert isinstance(chosen, forms.ChoiceField)
        chosen.choices = (
            [(fixed, _named(fixed))] if fixed else [(USUAL, _("The usual one of the country")), *_currencies()]
        )
        chosen.help_text = _("Every amount is kept in it: it cannot be changed later.")
        self.fields["tax"].help_text = _("The rate that stands on your quotes; 0 where you charge none.")
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, object]:
        """Where the currency is left to the country, look which it is."""
        said = super().clean()
        if said.get("country") == OTHER:
            said["country"] = ""
        if said.get("currency") == USUAL and "currency" not in self.errors:
            found = [code for code in get_territory_currencies(str(said.get("country") or "ZZ")) if code in MINOR_UNITS]
            if len(found) == 1:
                said["currency"] = found[0]
            else:
                self.add_error("currency", _("Choose the currency: the country does not say which."))
        return said


def _currencies() -> list[tuple[str, str]]:
    return sorted(((code, _named(code)) for code in MINOR_UNITS), key=lambda pair: pair[1])


def _named(code: str) -> str:
    name = get_currency_name(code, locale=to_locale(get_language() or "en"))
    return f"{name} ({code})"


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def set_up_page(request: HttpRequest) -> HttpResponse:
    if is_set_up():
        messages.info(request, _("This workshop is set up already. What it costs stands in the rate book."))
        return redirect("desk:workshop")
    form = SetUpForm(request.POST or None, initial=_begin())
    if request.method == "POST" and form.is_valid() and _answered(request, form):
        messages.success(
            request,
            _(
                "Set up. Every price, rate and chance is still a guess of ours, and the rate book says so until you note your own."
            ),
        )
        return redirect("desk:home")
    return render(request, "desk/set_up.html", _context(form), status=422 if form.errors else 200)


def _context(form: SetUpForm) -> dict[str, object]:
    return {"form": form, "questions": [form[name] for name in form.field_order], "hours": form.hours}


def _begin() -> dict[str, object]:
    shop = Shop.objects.first()
    known = {"name": shop.name, "country": shop.country, "hands": shop.hands} if shop else {"hands": 1}
    return known | usual_hours()


def _answered(request: HttpRequest, form: SetUpForm) -> bool:
    now, said = timezone.now(), form.cleaned_data
    try:
        set_up(
            name=said["name"],
            country=said["country"],
            currency=said["currency"],
            tax=said["tax"],
            hours=form.spans,
            hands=said["hands"],
            price_by=said["price_by"],
            today=timezone.localdate(now),
            who=who(request),
            now=now,
        )
    except ValidationError as error:
        saving.place(form, error, "name")
        return False
    return True


urlpatterns = [path("workshop/set-up/", set_up_page, name="set_up")]
