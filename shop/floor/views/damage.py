"""Damage found at the bench: what it is, hours guessed, perhaps a photograph. The desk makes an offer of it."""

from typing import Any
from uuid import UUID

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
    keep_in_form,
    opened,
    page_about,
    part_of,
    photograph_lost,
    photograph_of,
)
from shop.people.hands import on_the_floor
from shop.people.models import User
from shop.restorations.models import Part
from shop.routes.models import Step


@on_the_floor
@require_http_methods(["GET", "HEAD", "POST"])
def damage(request: HttpRequest, uid: UUID) -> HttpResponse:
    part = part_of(uid)

    def form(data: Any) -> DamageForm:
        return DamageForm(data, request.FILES if data is not None else None, part=part)

    def page(person: User | None, form: DamageForm, status: int) -> HttpResponse:
        reports = part.damage_reports.select_related("person", "possible", "photograph").order_by("-at", "-pk")[:5]
        at_step = request.GET.get("step", request.POST.get("step", ""))
        more = {"reports": reports, "photograph_lost": photograph_lost(request, form), "at_step": at_step}
        return render(
            request, "floor/damage.html", page_about(request, person, part=part, form=form, **more), status=status
        )

    def keep(person: User, form: DamageForm) -> tuple[str, str] | None:
        row = _told(request, part, person, form)
        if row is None:
            return None
        said = _("The desk has it: %(what)s. Go on with what is agreed.") % {"what": damages.said(row)}
        return said, reverse("floor:damage", args=[part.uid], query={"person": str(person.uid)})

    return opened(request, form=form, page=page, keep=keep)


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
