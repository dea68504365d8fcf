"""A PIN on the tablet, and the tablet locked again."""

from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from shop.people import hands, pins
from shop.people.hands import on_the_floor
from shop.people.models import User
from shop.people.sessions import FLOOR
from shop.posting import posted_from


class PinForm(forms.Form):
    pin = forms.RegexField(
        r"^\d{6}$",
        label=gettext_lazy("PIN"),
        error_messages={
            "required": gettext_lazy("Type the six digits."),
            "invalid": gettext_lazy("A PIN has six digits. Type it again."),
        },
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "maxlength": 6, "size": 6}),
    )


@on_the_floor
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def pin(request: HttpRequest, uid: UUID) -> HttpResponseBase:
    """Asks for the PIN of a person, and leads back to where it was wanted."""
    person, back = hands.person_of(request, uid), _back(request)
    if hands.pin_ok(request, person, always=True):
        return redirect(back)
    form = PinForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and _taken(request, person, form):
        return redirect(back)
    context = {"form": form, "person": person, "next": back}
    return render(request, "floor/pin.html", context, status=422 if form.errors else 200)


def _taken(request: HttpRequest, person: User, form: PinForm) -> bool:
    try:
        if hands.take_pin(request, person=person, pin=form.cleaned_data["pin"], now=timezone.now()):
            return True
    except pins.Locked as refusal:
        form.add_error("pin", str(refusal))
    else:
        form.add_error(
            "pin",
            pins.why_not(person, now=timezone.now()) or _("This is not the PIN of %(person)s.") % {"person": person},
        )
    return False


def _back(request: HttpRequest) -> str:
    """Where the PIN was wanted, if that is a page of the floor."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if ours and wanted.startswith(FLOOR) else FLOOR


@on_the_floor
@posted_from(FLOOR, takes=())
def put_down(request: HttpRequest) -> HttpResponse:
    """Whoever goes away locks the tablet, rather than wait two minutes for it."""
    hands.put_down(request)
    return redirect(FLOOR)
