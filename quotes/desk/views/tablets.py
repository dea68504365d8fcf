"""Tablets of the workshop, and PINs at them: let in, last seen, taken off; and what the manager is called for. For the manager."""

from urllib.parse import urlsplit
from uuid import UUID

import segno
from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from quotes.desk import saving
from quotes.desk.forms import PlainForm
from quotes.desk.views.editor import who
from quotes.pricing.customers.sending import base_of
from shop.people import pin_alarms, pins, tablets
from shop.people.models import Enrolment, Shop, Tablet, User
from shop.people.roles import ROLE_MANAGER, ROLE_MECHANIC, role_required
from shop.posting import posted_from

ENDED_SHOWN = 20


class TabletForm(PlainForm):
    name = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=60,
        help_text=gettext_lazy("Where it hangs, for instance: bench by the door."),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def all_tablets(request: HttpRequest) -> HttpResponse:
    form = TabletForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            code = tablets.begin_enrolment(name=form.cleaned_data["name"], who=who(request), now=timezone.now())
        except ValidationError as error:
            saving.place(form, error, "name")
        else:
            return _page(request, TabletForm(), shown=_shown(request, form.cleaned_data["name"], code))
    return _page(request, form, status=422 if form.errors else 200)


def _shown(request: HttpRequest, name: str, code: str) -> dict[str, object]:
    """A code that is read once, off this very answer: as it is typed, and for the tablet's camera."""
    base = base_of(request)
    address = base + reverse("people:enrol", args=[code])
    return {
        "name": name,
        "code": code,
        "door": base + reverse("people:enrol"),
        "address": address,
        "picture": segno.make(address, error="m").svg_data_uri(scale=4, border=3, dark="#000", light="#fff"),
        "only_here": urlsplit(base).hostname in {"localhost", "127.0.0.1", "::1"},
    }


def _page(
    request: HttpRequest, form: TabletForm, *, shown: dict[str, object] | None = None, status: int = 200
) -> HttpResponse:
    now, rows = timezone.now(), Tablet.objects.select_related("seen")
    waiting = Enrolment.objects.filter(used_at__isnull=True, expires_at__gt=now, misses__lt=tablets.CODE_MISSES)
    mechanics = User.objects.filter(is_active=True, groups__name=ROLE_MECHANIC)
    context = {
        "form": form,
        "shown": shown,
        "tablets": rows.filter(ended_at__isnull=True),
        "ended": rows.filter(ended_at__isnull=False).order_by("-ended_at")[:ENDED_SHOWN],
        "waiting": waiting,
        "alarms": pin_alarms.open_alarms(),
        "pin_to_clock": Shop.objects.filter(pin_to_clock=True).exists(),
        "without_pin": mechanics.filter(pin__isnull=True).order_by("first_name", "username"),
        "blocked": User.objects.filter(is_active=True, pin__tries__gte=pins.LAST).order_by("first_name", "username"),
    }
    response = render(request, "desk/tablets.html", context, status=status)
    if shown:
        response["Cache-Control"] = "no-store"
    return response


@role_required(ROLE_MANAGER)
@posted_from("desk:tablets", takes=())
def end_tablet(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Tablet, uid=uid)
    tablets.end_tablet(tablet=row, who=who(request), now=timezone.now())
    messages.success(request, _("“%(tablet)s” is off: it opens nothing any more.") % {"tablet": row})
    return redirect("desk:tablets")


@role_required(ROLE_MANAGER)
@posted_from("desk:tablets", takes=())
def pin_to_clock(request: HttpRequest) -> HttpResponse:
    pins.ask_to_clock(asked=request.POST.get("ask") == "yes", who=who(request), now=timezone.now())
    messages.success(request, _("Saved. It holds from the next tap on."))
    return redirect("desk:tablets")


@role_required(ROLE_MANAGER)
@posted_from("desk:tablets", takes=())
def settle_alarms(request: HttpRequest) -> HttpResponse:
    if pin_alarms.settle(who=who(request), now=timezone.now()):
        messages.success(request, _("PINs are taken again."))
    return redirect("desk:tablets")


urlpatterns = [
    path("workshop/tablets/", all_tablets, name="tablets"),
    path("workshop/tablets/<uuid:uid>/end/", end_tablet, name="end_tablet"),
    path("workshop/tablets/pin-to-clock/", pin_to_clock, name="pin_to_clock"),
    path("workshop/tablets/pins-go-on/", settle_alarms, name="settle_alarms"),
]
