"""Something has to be done again: why, where it came from, where it goes back to, and what comes off first."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from shop.floor import doing, not_again
from shop.floor.forms_doing import AgainForm
from shop.floor.models import Rework
from shop.floor.showing_doing import options_of
from shop.floor.views.acting import (
    acting,
    asked_for_pin,
    keep_in_form,
    onwards,
    opened,
    page_about,
    photograph_lost,
    photograph_of,
    rework_of,
    step_of,
)
from shop.people.hands import on_the_floor
from shop.people.models import User
from shop.posting import posted_from
from shop.restorations.models import Part
from shop.routes.models import Step


@on_the_floor
@require_http_methods(["GET", "HEAD", "POST"])
def again(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The form, and the form sent. ``show`` only asks for the steps of another part, and keeps all that was typed."""
    step = step_of(uid)

    def form(data: Any) -> AgainForm:
        only_show = data is not None and data.get("show")
        return _form(request, step, None, given=data) if only_show else _form(request, step, data)

    def page(person: User | None, form: AgainForm, status: int) -> HttpResponse:
        context = page_about(request, person, step=step, form=form, photograph_lost=photograph_lost(request, form))
        return render(request, "floor/again.html", context, status=status)

    def keep(person: User, form: AgainForm) -> tuple[str, str] | None:
        row = _noted(step, person, form)
        if row is None:
            return None
        there = reverse("floor:check", args=[row.step.uid], query={"person": str(person.uid)})
        return _("Noted. It is done again in “%(task)s”: tap that when you begin on it.") % {"task": row.task}, there

    return opened(request, form=form, page=page, keep=keep)


def _noted(step: Step, person: User, form: AgainForm) -> Rework | None:
    given, now = form.cleaned_data, timezone.now()
    caption = _("Again: %(cause)s") % {"cause": given["cause"]}
    photograph = photograph_of(form, caption=caption, person=person, now=now)
    if form.errors:
        return None
    ways = {str(one.uid): one for one in form.options.ways}
    try:
        return doing.again(
            uid=given["uid"],
            step=step,
            visit=given["visit"],
            back_to=ways[given["back_to"]],
            came_from=step_of(UUID(given["came_from"])) if given["came_from"] else None,
            cause=given["cause"],
            pieces=given.get("pieces", 1),
            apart=given.get("apart", False),
            scrapped=given["scrapped"],
            remedies=form.chosen_remedies(),
            note=given["note"],
            photograph=photograph,
            person=person,
            now=now,
        )
    except ValidationError as error:
        form.place(error)
        keep_in_form(form, photograph)
        return None


def _form(request: HttpRequest, step: Step, data: Any, given: Any = None) -> AgainForm:
    """``given`` fills the boxes without a word about what is still missing."""
    other = _other(request, step)
    options = options_of(step, other=other, now=timezone.now())
    back_to = step.back_to if step.back_to in options.ways else step
    initial: dict[str, Any] = {
        "visit": step.visit,
        "back_to": str(back_to.uid) if back_to else "",
        "pieces": step.part.pieces,
        "other": other.uid if other else None,
    }
    if given is not None:
        lists = {name: given.getlist(name) for name in ("remedies",)}
        initial |= {name: given.get(name) for name in given if name != "remedies"} | lists
        initial["apart"] = bool(given.get("apart"))
    form = AgainForm(data, request.FILES if data is not None else None, options=options, initial=initial)
    form.fields["back_to"].label_suffix = ""
    return form


def _other(request: HttpRequest, step: Step) -> Part | None:
    """The other part whose steps are offered, on the same bike."""
    given = request.POST.get("other") or request.GET.get("other") or ""
    try:
        wanted = UUID(given)
    except ValueError:
        return None
    return Part.objects.filter(uid=wanted, restoration=step.part.restoration_id).first()


@on_the_floor
@posted_from("floor:check", row=(Rework, "step__uid"))
def take_back(request: HttpRequest, uid: UUID) -> HttpResponse:
    """It has not to be done again after all: a slip of the finger."""
    row, person = rework_of(uid), acting(request)
    back = reverse("floor:check", args=[row.step.uid], query={"person": str(person.uid)} if person else {})
    if person is None:
        messages.error(request, _("Say first who you are."))
        return redirect(back)
    asking = asked_for_pin(request, person)
    if asking is not None:
        return asking
    try:
        not_again.not_again(rework=row, person=person, now=timezone.now())
    except ValidationError as error:
        for said in error.messages:
            messages.error(request, said)
    else:
        messages.success(request, _("Taken back: it has not to be done again."))
    return onwards(request, back)
