"""The trip of a day, on a phone or printed: by vendor, what to take and what to fetch, each with a tick."""

from datetime import date
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from quotes.desk import vendor_job
from quotes.desk.context import DESK
from quotes.desk.forms import PlainForm
from quotes.desk.views.days import DayField
from quotes.desk.views.editor import who
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.vendor_jobs.models import Tick
from shop.vendor_jobs.trips import set_tick, trip

UNPROCESSABLE = 422


class TripForm(PlainForm):
    """Which day's trip."""

    day = DayField(label=gettext_lazy("Trip on"))


class TickForm(forms.Form):
    """What a button on the list sends."""

    day = forms.DateField()
    kind = forms.ChoiceField(choices=Tick.Kind)
    ticked = forms.BooleanField(required=False)


@require_safe
@role_required(*DESK)
def trip_of(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    form = TripForm(request.GET if "day" in request.GET else {"day": today.isoformat()})
    right = form.is_valid()
    day: date = form.cleaned_data["day"] if right else today
    context = {"form": form, "day": day, "stops": trip(day, now=timezone.now())}
    return render(request, "desk/vendor_trip.html", context, status=200 if right else UNPROCESSABLE)


@role_required(*DESK)
@posted_from("desk:trip", takes=())
def tick(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Ticked or unticked; a form that is not as a button sends it changes nothing."""
    row, form = vendor_job.known_job(uid), TickForm(request.POST)
    if not form.is_valid():
        return redirect("desk:trip")
    given = form.cleaned_data
    day: date = given["day"]
    set_tick(job=row, on=day, kind=given["kind"], ticked=given["ticked"], who=who(request), now=timezone.now())
    return redirect(reverse("desk:trip", query={"day": day.isoformat()}) + f"#load-{given['kind']}-{row.number}")


urlpatterns = [
    path("vendor-work/trip/", trip_of, name="trip"),
    path("vendor-work/jobs/<uuid:uid>/tick/", tick, name="tick"),
]
