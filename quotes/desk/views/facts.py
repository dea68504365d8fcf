"""Correcting what was said when a restoration was begun: customer, machine, title, day."""

from datetime import date
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from quotes.desk.context import DESK
from quotes.desk.forms import plainly
from quotes.desk.forms_beginning import FIRST_YEAR, FURTHEST
from quotes.desk.views.editor import restoration_of, who
from shop.people.roles import role_required
from shop.restorations.models import Restoration
from shop.restorations.services import change_restoration

CUSTOMER = ("name", "address", "email", "phone")
MACHINE = ("maker", "model", "year", "frame_number", "engine_number", "market")


class FactsForm(forms.Form):
    """The fields are called as in the models, so that their errors stand at them."""

    name = forms.CharField(label=gettext_lazy("Customer"), max_length=120)
    address = forms.CharField(label=gettext_lazy("Address"), widget=forms.Textarea, required=False)
    email = forms.EmailField(label=gettext_lazy("E-mail"), required=False)
    phone = forms.CharField(label=gettext_lazy("Phone"), max_length=40, required=False)
    maker = forms.CharField(label=gettext_lazy("Maker"), max_length=60)
    model = forms.CharField(label=gettext_lazy("Model"), max_length=60)
    year = forms.IntegerField(label=gettext_lazy("Year"), min_value=1880, max_value=2100, required=False)
    frame_number = forms.CharField(label=gettext_lazy("Frame number"), max_length=40, required=False)
    engine_number = forms.CharField(label=gettext_lazy("Engine number"), max_length=40, required=False)
    market = forms.CharField(
        label=gettext_lazy("First sold in"),
        max_length=40,
        required=False,
        help_text=gettext_lazy("Some evidence speaks of one market only."),
    )
    title = forms.CharField(
        label=gettext_lazy("Title"), max_length=120, required=False, help_text=gettext_lazy("If empty, the machine.")
    )
    begun_on = forms.DateField(
        label=gettext_lazy("Begun on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    def clean_begun_on(self) -> date:
        """A year that is a slip of the finger is asked about."""
        day: date = self.cleaned_data["begun_on"]
        if not date(FIRST_YEAR, 1, 1) <= day <= timezone.localdate() + FURTHEST:
            raise forms.ValidationError(_("Check the year of this day."))
        return day


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def facts(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = restoration_of(uid)
    form = FactsForm(request.POST or None, initial=_now(row))
    plainly(form)
    if request.method == "POST" and form.is_valid() and _saved(request, row, form):
        messages.success(request, _("Saved. Quotes already issued keep what they say."))
        return redirect("desk:restoration", uid=uid)
    context = {"restoration": row, "form": form}
    return render(request, "desk/facts.html", context, status=422 if request.method == "POST" else 200)


def _now(row: Restoration) -> dict[str, object]:
    customer = {name: getattr(row.customer, name) for name in CUSTOMER}
    machine = {name: getattr(row.machine, name) for name in MACHINE}
    return customer | machine | {"title": row.title, "begun_on": row.begun_on}


def _saved(request: HttpRequest, row: Restoration, form: FactsForm) -> bool:
    said = form.cleaned_data
    try:
        change_restoration(
            restoration=row,
            who=who(request),
            now=timezone.now(),
            customer={name: said[name] for name in CUSTOMER},
            machine={name: said[name] for name in MACHINE},
            title=said["title"],
            begun_on=said["begun_on"],
        )
    except ValidationError as error:
        form.add_error(None, error)
        return False
    return True


urlpatterns = [path("restorations/<uuid:uid>/facts/", facts, name="facts")]
