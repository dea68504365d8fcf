"""The photographs of one bike, and taking away one that was put in by mistake."""

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
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import saving
from quotes.desk.context import DESK
from quotes.desk.forms import PlainForm
from quotes.desk.views.editor import restoration_of, way_to_undo, who
from quotes.pricing.customers import sharing
from shop.journal.services import subject_of
from shop.papers import photographs as services
from shop.people.roles import role_required


class AwayForm(PlainForm):
    why = forms.CharField(
        label=gettext_lazy("Why is it taken away?"),
        max_length=200,
        help_text=gettext_lazy("For instance: another bike, a face in it, twice the same."),
    )


@require_safe
@role_required(*DESK)
def photographs(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = restoration_of(uid)
    found = list(sharing.ever_photographed(row))
    context = {
        "restoration": row,
        "photographs": [one for one in found if one.taken_away_at is None],
        "taken_away": [one for one in found if one.taken_away_at is not None],
    }
    return render(request, "desk/photographs.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def take_away(request: HttpRequest, uid: UUID, photograph: UUID) -> HttpResponse:
    """Asked first: on no page, nor the customer's, is it seen any more."""
    row = restoration_of(uid)
    found = get_object_or_404(sharing.ever_photographed(row), uid=photograph)
    if found.taken_away_at is not None:
        messages.info(request, _("It is taken away already."))
        return redirect("desk:photographs", uid=uid)
    form, now = AwayForm(request.POST or None), timezone.now()
    if request.method == "POST" and form.is_valid():
        try:
            why = form.cleaned_data["why"]
            services.take_away(photograph=found, of=subject_of(row), why=why, who=who(request), now=now)
        except ValidationError as error:
            saving.place(form, error, "why")
        else:
            said = _("“%(photograph)s” is taken away.") % {"photograph": found}
            messages.success(request, said, extra_tags=way_to_undo(request, row, now))
            return redirect("desk:photographs", uid=uid)
    context = {"restoration": row, "photograph": found, "form": form}
    return render(request, "desk/photograph_away.html", context, status=422 if request.method == "POST" else 200)


urlpatterns = [
    path("restorations/<uuid:uid>/photographs/", photographs, name="photographs"),
    path("restorations/<uuid:uid>/photographs/<uuid:photograph>/", take_away, name="take_away_photograph"),
]
