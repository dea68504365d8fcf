"""What the floor reported, settled by the desk: damage becomes an offer, or is none; a replacement gets its price."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from quotes.desk import floor_reports, saving
from quotes.desk.context import DESK
from quotes.desk.forms import MinorMoney, PlainForm, plainly
from quotes.desk.views.editor import who
from shop.floor.damage import said, settle_report
from shop.floor.doing import price_replacement
from shop.floor.models import DamageReport, Rework
from shop.people.roles import role_required

UNPROCESSABLE = 422


class NoDamageForm(PlainForm):
    """Why what was reported is no damage."""

    reason = forms.CharField(
        label=gettext_lazy("Why it is no damage"),
        max_length=150,
        help_text=gettext_lazy("Whoever reported it reads this at the bench."),
    )


class ReplacementForm(PlainForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Made here: how many decimals it takes is known once the shop has said its currency.
        self.fields["cost"] = MinorMoney(label=gettext_lazy("The replacement costs us, all pieces together"))
        plainly(self)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def report(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One report: what was seen, and the two ways to settle it."""
    query = DamageReport.objects.select_related(
        "part__restoration", "part__split_from", "person", "possible", "photograph", "step__operation", "step__service"
    )
    row = get_object_or_404(query, uid=uid)
    form = NoDamageForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            reason = _("No damage: %(reason)s") % form.cleaned_data
            settle_report(report=row, settled_as=reason, who=who(request), now=timezone.now())
            messages.success(request, _("Settled. It stands on the part's page of the floor."))
            return redirect("desk:home")
        except ValidationError as error:
            if row.settled_at is not None:
                messages.error(request, error.messages[0])
                return redirect("desk:report", uid=uid)
            saving.place(form, error, "reason")
    context = {
        "report": row,
        "what": said(row),
        "part": row.part.split_from or row.part,
        "restoration": row.part.restoration,
        "guess": floor_reports.hours_words(row),
        "form": form,
    }
    return render(request, "desk/report.html", context, status=UNPROCESSABLE if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def replacement(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What the replacement of scrapped pieces costs."""
    query = Rework.objects.select_related(
        "step__part__restoration", "step__operation", "step__service", "cause", "person", "photograph"
    )
    row = get_object_or_404(query, uid=uid)
    initial = {"cost": row.replacement_minor}
    form = ReplacementForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            cost = form.cleaned_data["cost"]
            price_replacement(rework=row, cost_minor=cost, who=who(request), now=timezone.now())
            messages.success(request, _("Saved."))
            return redirect("desk:home")
        except ValidationError as error:
            saving.place(form, error, "cost")
    context = {"rework": row, "part": row.step.part, "restoration": row.step.part.restoration, "form": form}
    return render(request, "desk/replacement.html", context, status=UNPROCESSABLE if form.errors else 200)


urlpatterns = [
    path("reports/<uuid:uid>/", report, name="report"),
    path("replacements/<uuid:uid>/", replacement, name="replacement"),
]
