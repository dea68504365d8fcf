"""Damage found at the bench: what it is, hours guessed, perhaps a photograph. The desk makes an offer of it."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from shop.floor import damage as damages
from shop.floor.forms_doing import DamageForm
from shop.floor.models import DamageReport
from shop.floor.views.acting import (
    LOST,
    UNPROCESSABLE,
    acting,
    asked_for_pin,
    keep_in_form,
    only_a_pin,
    onwards,
    page_about,
    part_of,
    photograph_of,
    say_who,
)
from shop.people.hands import on_the_floor
from shop.people.models import User
from shop.restorations.models import Part
from shop.routes.models import Step


@on_the_floor
@require_http_methods(["GET", "HEAD", "POST"])
def damage(request: HttpRequest, uid: UUID) -> HttpResponse:
    part, person = part_of(uid), acting(request)
    if person is not None:
        asking = asked_for_pin(request, person)
        if asking is not None:
            return asking
    if request.method != "POST" or only_a_pin(request):
        return _page(request, part, person, DamageForm(part=part))
    form = DamageForm(request.POST, request.FILES, part=part)
    if person is None:
        say_who(form)
    if form.is_valid() and person is not None and not request.POST.get(LOST):
        row = _told(request, part, person, form)
        if row is not None:
            messages.success(
                request, _("The desk has it: %(what)s. Go on with what is agreed.") % {"what": damages.said(row)}
            )
            return onwards(request, reverse("floor:damage", args=[part.uid], query={"person": str(person.uid)}))
    return _page(request, part, person, form, status=UNPROCESSABLE)


def _told(request: HttpRequest, part: Part, person: User, form: DamageForm) -> DamageReport | None:
    given, now = form.cleaned_data, timezone.now()
    possible = given.get("possible")
    if possible is None and not given["words"].strip():
        form.add_error("words", _("Choose a damage, or say what you see."))
        return None
    caption = str(possible or given["words"])
    photograph = photograph_of(form, caption=caption, person=person, now=now)
    if form.errors:
        return None
    try:
        return damages.report_damage(
            uid=given["uid"],
            part=part,
            step=_step(request, part),
            possible=possible,
            words=given["words"],
            hours=given["hours"],
            photograph=photograph,
            person=person,
            now=now,
        )
    except ValidationError as error:
        form.place(error)
        keep_in_form(form, photograph)
        return None


def _step(request: HttpRequest, part: Part) -> Step | None:
    """The step at which it came out, where the page knew."""
    try:
        wanted = UUID(request.POST.get("step", ""))
    except ValueError:
        return None
    return Step.objects.filter(uid=wanted, part=part).first()


def _page(
    request: HttpRequest, part: Part, person: User | None, form: DamageForm, *, status: int = 200
) -> HttpResponse:
    lost = bool(request.POST.get(LOST)) or bool(form.errors and request.FILES and not form.data.get("kept"))
    reports = part.damage_reports.select_related("person", "possible", "photograph").order_by("-at", "-pk")[:5]
    at_step = request.GET.get("step", request.POST.get("step", ""))
    more = {"reports": reports, "photograph_lost": lost, "at_step": at_step}
    context = page_about(request, person, part=part, form=form, **more)
    return render(request, "floor/damage.html", context, status=status)
