"""When the workshop and its vendors work: what every ready day rests on. For the manager."""

import re
from datetime import time
from typing import Any
from unicodedata import combining, normalize
from uuid import UUID

from babel import Locale
from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import get_language, gettext_lazy, to_locale
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from quotes.desk import saving
from quotes.desk.forms import PlainForm
from quotes.desk.views.days import DayField
from quotes.desk.views.editor import who
from shop.methods.models import Vendor, VendorClosure
from shop.methods.vendor_times import WEEKDAYS, close_vendor, open_vendor_again, set_vendor_times
from shop.people.calendars import USUAL_HOURS, countries
from shop.people.models import Closure, Shop, ShopHours
from shop.people.roles import ROLE_MANAGER, role_required
from shop.people.times import Span, add_break, breaks, close_for, end_break, open_again, set_working_times
from shop.posting import posted_from

SPAN = re.compile(r"([0-2]?\d)(?:[:.]([0-5]\d))?\s*[-–]\s*([0-2]?\d)(?:[:.]([0-5]\d))?")
DAYS = [(str(value), label) for value, label in ShopHours.Weekday.choices]


def country_names() -> list[tuple[str, str]]:
    """Every country whose public holidays are known, by its name in the reader's language."""
    names = Locale.parse(to_locale(get_language() or "en")).territories
    return sorted(((code, names.get(code, code)) for code in countries()), key=lambda pair: _without_marks(pair[1]))


def _without_marks(name: str) -> str:
    """A name as it is looked for in a list: Åland stands under A."""
    return "".join(letter for letter in normalize("NFD", name.casefold()) if not combining(letter))


def read_span(piece: str) -> tuple[time, time]:
    """Two times of day as people write them."""
    found = SPAN.fullmatch(piece.strip())
    try:
        if found is None:
            raise ValueError
        numbers = [int(number or 0) for number in found.groups()]
        return time(numbers[0], numbers[1]), time(numbers[2], numbers[3])
    except ValueError:
        text = _("“%(piece)s” is no span of hours. Write it like 8:00-12:00.") % {"piece": piece}
        raise ValidationError(text) from None


def offer_countries(form: forms.Form, none: str) -> None:
    """Fill the list of countries; ``none`` says what choosing none of them means."""
    form.fields["country"].choices = [("", none), *country_names()]  # type: ignore[attr-defined]  # it is a choice


class TimesForm(PlainForm):
    """Country, people, and a box of hours for every weekday."""

    country = forms.ChoiceField(
        label=gettext_lazy("Country"), required=False, help_text=gettext_lazy("Its public holidays are kept.")
    )
    subdivision = forms.CharField(
        label=gettext_lazy("Region, if it has holidays of its own"), max_length=6, required=False
    )
    hands = forms.IntegerField(label=gettext_lazy("People who work on bikes"), min_value=1, max_value=1000)
    productive = forms.IntegerField(
        label=gettext_lazy("Of their hours on bikes [%]"),
        min_value=1,
        max_value=100,
        help_text=gettext_lazy("The rest is fetching, sweeping, the telephone. Ready days count with it."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer_countries(self, _("Another country: no public holidays"))
        for value, label in DAYS:
            self.fields[f"hours_{value}"] = forms.CharField(label=label, required=False, max_length=100)
        self.fields["hours_0"].help_text = _("For instance 8:00-12:00, 13:00-17:00. Empty where it is shut.")

    @property
    def hours(self) -> list[forms.BoundField]:
        """The boxes of the weekdays."""
        return [self[name] for name in self.fields if name.startswith("hours_")]

    @property
    def other_boxes(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if not name.startswith("hours_")]

    def clean(self) -> dict[str, object]:
        """Read the hours; what cannot be read is said at its day."""
        said = super().clean() or self.cleaned_data
        self.spans: list[Span] = []
        for value, _label in DAYS:
            self._read(int(value), str(said.get(f"hours_{value}", "")))
        return said

    def _read(self, day: int, typed: str) -> None:
        for piece in filter(None, (piece.strip() for piece in re.split("[,;]", typed))):
            try:
                opens, closes = read_span(piece)
            except ValidationError as error:
                self.add_error(f"hours_{day}", error)
                continue
            if closes <= opens:
                self.add_error(f"hours_{day}", _("It closes before it opens. Swap the times."))
            self.spans.append((day, opens, closes))


class ClosureForm(PlainForm):
    first = DayField(label=gettext_lazy("First day"))
    last = DayField(label=gettext_lazy("Last day"))
    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=100, required=False)


class BreakForm(PlainForm):
    name = forms.CharField(label=gettext_lazy("Break"), max_length=60)
    span = forms.CharField(
        label=gettext_lazy("From and to"), max_length=20, help_text=gettext_lazy("For instance 12:00-12:30.")
    )
    paid = forms.BooleanField(label=gettext_lazy("It is paid"), required=False)

    def clean_span(self) -> tuple[time, time]:
        return read_span(self.cleaned_data["span"])


class VendorForm(PlainForm):
    works_on = forms.MultipleChoiceField(
        label=gettext_lazy("Works on"),
        choices=[(digit, label) for digit, (_value, label) in zip(WEEKDAYS, DAYS, strict=True)],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    country = forms.ChoiceField(
        label=gettext_lazy("Country"), required=False, help_text=gettext_lazy("Its public holidays are kept.")
    )
    subdivision = forms.CharField(
        label=gettext_lazy("Region, if it has holidays of its own"), max_length=6, required=False
    )
    transport_days = forms.IntegerField(label=gettext_lazy("Days on the way, each way"), min_value=0, max_value=100)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer_countries(self, _("The country of this workshop"))


def _now() -> dict[str, object]:
    shop = Shop.objects.first() or Shop()
    said: dict[str, object] = {name: getattr(shop, name) for name in ("country", "subdivision", "hands", "productive")}
    rows = [(row.weekday, f"{row.opens:%H:%M}-{row.closes:%H:%M}") for row in ShopHours.objects.all()]
    usual = [
        (day, f"{opens // 60:02}:{opens % 60:02}-{closes // 60:02}:{closes % 60:02}")
        for day, opens, closes in USUAL_HOURS
    ]
    for value, _label in DAYS:
        said[f"hours_{value}"] = ", ".join(span for day, span in rows or usual if day == int(value))
    return said


def usual_hours() -> dict[str, object]:
    """The boxes of hours as they stand, or as is usual."""
    return {name: said for name, said in _now().items() if name.startswith("hours_")}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def times(request: HttpRequest) -> HttpResponse:
    form = TimesForm(request.POST or None, initial=_now())
    if request.method == "POST" and form.is_valid():
        said = {name: form.cleaned_data[name] for name in ("country", "subdivision", "hands", "productive")}
        try:
            set_working_times(**said, hours=form.spans, who=who(request), now=timezone.now())
            messages.success(request, _("Saved. Ready days are worked out with it from now on."))
            return redirect("desk:times")
        except ValidationError as error:
            saving.place(form, error, "hours_0")  # what is wrong with all the hours stands at the first day
    return _page(request, form, ClosureForm(), status=422 if request.method == "POST" else 200)


def _page(
    request: HttpRequest,
    form: forms.Form,
    closure_form: forms.Form,
    *,
    break_form: forms.Form | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {
        "form": form,
        "break_form": break_form or BreakForm(auto_id="break_%s"),
        "breaks": breaks(),
        "closure_form": closure_form,
        "closures": Closure.objects.filter(last__gte=timezone.localdate()),
        "vendors": Vendor.objects.order_by("name"),
    }
    return render(request, "desk/times.html", context, status=status)


@role_required(ROLE_MANAGER)
@posted_from("desk:times", takes=())
def add_closure(request: HttpRequest) -> HttpResponse:
    form = ClosureForm(request.POST)
    if form.is_valid():
        try:
            close_for(**form.cleaned_data, who=who(request), now=timezone.now())
            messages.success(request, _("Noted. Ready days go around it."))
            return redirect("desk:times")
        except ValidationError as error:
            form.add_error(None, error)
    return _page(request, TimesForm(initial=_now()), form, status=422)


@role_required(ROLE_MANAGER)
@posted_from("desk:times", takes=())
def end_closure(request: HttpRequest, pk: int) -> HttpResponseRedirect:
    open_again(closure=get_object_or_404(Closure, pk=pk), who=who(request), now=timezone.now())
    return redirect("desk:times")


@role_required(ROLE_MANAGER)
@posted_from("desk:times", takes=())
def new_break(request: HttpRequest) -> HttpResponse:
    form = BreakForm(request.POST, auto_id="break_%s")
    if form.is_valid():
        begins, ends = form.cleaned_data["span"]
        given = {"name": form.cleaned_data["name"], "paid": form.cleaned_data["paid"], "begins": begins, "ends": ends}
        try:
            add_break(**given, who=who(request), now=timezone.now())
            messages.success(request, _("Noted. It holds from today on."))
            return redirect("desk:times")
        except ValidationError as error:
            saving.place(form, error, "span")
    return _page(request, TimesForm(initial=_now()), ClosureForm(), break_form=form, status=422)


@role_required(ROLE_MANAGER)
@posted_from("desk:times", takes=())
def no_break(request: HttpRequest, pk: int) -> HttpResponseRedirect:
    end_break(row=get_object_or_404(breaks(), pk=pk), who=who(request), now=timezone.now())
    messages.success(request, _("From today on it is working time."))
    return redirect("desk:times")


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def vendor(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Vendor, uid=uid)
    form = VendorForm(request.POST or None, initial=_of_vendor(row))
    if request.method == "POST" and form.is_valid():
        try:
            set_vendor_times(vendor=row, **form.cleaned_data, who=who(request), now=timezone.now())
            messages.success(request, _("Saved. Ready days are worked out with it from now on."))
            return redirect("desk:vendor_times", uid=uid)
        except ValidationError as error:
            row.refresh_from_db()
            form.add_error(None, error)
    return _vendor_page(request, row, form, ClosureForm(), status=422 if request.method == "POST" else 200)


def _of_vendor(row: Vendor) -> dict[str, object]:
    said = {name: getattr(row, name) for name in ("country", "subdivision", "transport_days")}
    return said | {"works_on": list(row.works_on)}


def _vendor_page(
    request: HttpRequest, row: Vendor, form: forms.Form, closure_form: forms.Form, *, status: int = 200
) -> HttpResponse:
    closures = row.closures.filter(last__gte=timezone.localdate())
    context = {"vendor": row, "form": form, "closure_form": closure_form, "closures": closures}
    return render(request, "desk/vendor_times.html", context, status=status)


@role_required(ROLE_MANAGER)
@posted_from("desk:vendor_times")
def add_vendor_closure(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = get_object_or_404(Vendor, uid=uid), ClosureForm(request.POST)
    if form.is_valid():
        try:
            close_vendor(vendor=row, **form.cleaned_data, who=who(request), now=timezone.now())
            messages.success(request, _("Noted. Ready days go around it."))
            return redirect("desk:vendor_times", uid=uid)
        except ValidationError as error:
            form.add_error(None, error)
    return _vendor_page(request, row, VendorForm(initial=_of_vendor(row)), form, status=422)


@role_required(ROLE_MANAGER)
@posted_from("desk:vendor_times", row=(VendorClosure, "vendor__uid"))
def end_vendor_closure(request: HttpRequest, pk: int) -> HttpResponseRedirect:
    row = get_object_or_404(VendorClosure.objects.select_related("vendor"), pk=pk)
    open_vendor_again(closure=row, who=who(request), now=timezone.now())
    return redirect("desk:vendor_times", uid=row.vendor.uid)


urlpatterns = [
    path("workshop/times/", times, name="times"),
    path("workshop/breaks/", new_break, name="add_break"),
    path("workshop/breaks/<int:pk>/end/", no_break, name="end_break"),
    path("workshop/closures/", add_closure, name="add_closure"),
    path("workshop/closures/<int:pk>/end/", end_closure, name="end_closure"),
    path("workshop/vendors/<uuid:uid>/", vendor, name="vendor_times"),
    path("workshop/vendors/<uuid:uid>/closures/", add_vendor_closure, name="add_vendor_closure"),
    path("workshop/vendor-closures/<int:pk>/end/", end_vendor_closure, name="end_vendor_closure"),
]
