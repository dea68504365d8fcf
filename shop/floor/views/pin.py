"""Asks for a PIN before something is done. What was sent waits in the form, so that nothing has to be tapped twice."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.floor.views.hands import PinForm
from shop.people import pins
from shop.people.hands import pin_ok, take_pin
from shop.people.models import User

OURS = {"pin", "csrfmiddlewaretoken"}


def ask_for_pin(request: HttpRequest, person: User, *, always: bool = False) -> HttpResponse | None:
    """None where ``person`` may go on: no PIN is asked for, or the right one came along. Else the page that asks for it."""
    if pin_ok(request, person, always=always):
        return None
    form = PinForm(request.POST if "pin" in request.POST else None)
    if form.is_bound and form.is_valid() and _right(request, person, form):
        return None
    sent = [(name, value) for name, values in request.POST.lists() if name not in OURS for value in values]
    none = "" if form.is_bound else pins.why_not(person, now=timezone.now())
    told = {"person": person, "form": form, "sent": sent, "action": request.get_full_path(), "none": none}
    return render(request, "floor/ask_pin.html", told, status=422 if form.errors else 200)


def _right(request: HttpRequest, person: User, form: PinForm) -> bool:
    now = timezone.now()
    try:
        if take_pin(request, person=person, pin=form.cleaned_data["pin"], now=now):
            return True
    except pins.Locked as refusal:
        form.add_error("pin", str(refusal))
    else:
        wrong = _("This is not the PIN of %(person)s.") % {"person": person}
        form.add_error("pin", pins.why_not(person, now=now) or wrong)
    return False
