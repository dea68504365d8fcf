"""The steps of a part's route, edited on the restoration's page."""

import re
from decimal import Decimal
from functools import partial
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from quotes.desk import drawing, saving, showing
from quotes.desk.context import DESK
from quotes.desk.forms import NewStepForm, WaitForm, in_minor
from quotes.desk.forms_buying import BY_SOURCE, dated, step_form
from quotes.desk.templatetags.desk_boxes import boxed
from quotes.desk.views.editor import draft_for, page, part_of, restoration_of, way_to_undo, who
from quotes.pricing.selectors import priced
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations.models import Part
from shop.routes import services
from shop.routes.models import Step, Wait


def step_of(uid: UUID) -> Step:
    """A step with what its page needs, or 404."""
    query = Step.objects.select_related("part__restoration", "operation", "service", "back_to", "remedy_finish")
    return get_object_or_404(query, uid=uid)


@require_http_methods(["GET", "POST"])
@role_required(*DESK)
def step(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One step: how much, how it may fail, what it waits for."""
    row = step_of(uid)
    if request.method == "POST":
        return _change(request, row)
    return _show(request, row, step_form(instance=row))


def _context(row: Step, form: BaseForm) -> dict[str, Any]:
    return {
        "step": row,
        "owner": row.uid,
        "part": row.part,
        "restoration": row.part.restoration,
        "form": form,
        "boxes": boxed(form),
        "waits": Wait.objects.filter(step=row).select_related("on__part", "on__operation", "on__service"),
        "wait_form": WaitForm(step=row),
    }


def _show(request: HttpRequest, row: Step, form: BaseForm, status: int = 200) -> HttpResponse:
    template = "desk/step_panel.html" if request.htmx else "desk/step.html"  # type: ignore[attr-defined]
    return render(request, template, _context(row, form), status=status)


def _change(request: HttpRequest, row: Step) -> HttpResponse:
    def write(changes: dict[str, Any], seen: dict[str, Any]) -> None:
        services.change_step(
            step=step_of(row.uid),
            who=who(request),
            now=timezone.now(),
            changes=dated(in_minor(changes), timezone.localdate()),
            seen=saving.seen_in_columns(seen),
        )

    form, names, wrong = saving.keep(request.POST, partial(step_form, instance=row), write)
    return _answer(request, row, form, names, wrong=wrong)


def _answer(request: HttpRequest, row: Step, form: BaseForm, names: list[str], *, wrong: bool) -> HttpResponse:
    """The changed boxes and the new prices; or the whole page without scripting."""
    if not request.htmx:  # type: ignore[attr-defined]
        if wrong:
            return _show(request, step_of(row.uid), form, status=422)
        messages.success(request, _("Saved."))
        return redirect("desk:step", uid=row.uid)
    fresh = step_of(row.uid)
    if not wrong:
        form = step_form(instance=fresh)
    found = priced(draft_for(request, restoration_of(fresh.part.restoration.uid)))
    asked = [*names, *(BY_SOURCE if "buy_source" in names else ("buy_said_on",) if "buy_price" in names else ())]
    context = page(found) | {
        "boxes": saving.answered(boxed(form), asked, request.POST),
        "form": form,
        "steps": showing.step_rows(found, fresh.part),
        "part": fresh.part,
        "owner": row.uid,
    }
    return render(request, "desk/_answer.html", context)


def _back(request: HttpRequest, part: Part, **just: Any) -> HttpResponse:
    """The route of a part as it is now, with the new prices; or its page without scripting."""
    if not request.htmx:  # type: ignore[attr-defined]
        return redirect("desk:part", uid=part.uid)
    fresh = part_of(part.uid)
    found = priced(draft_for(request, fresh.restoration))
    context = page(found) | {
        "part": fresh,
        "steps": showing.step_rows(found, fresh),
        "taken_off": showing.taken_off(found, fresh),
        "route_changed": True,
        "picture": drawing.route(found, fresh),
        "boxes": [],
        "restoration": fresh.restoration,
    }
    return render(request, "desk/_answer.html", context | just)


def _refused(request: HttpRequest, part: Part, error: ValidationError) -> HttpResponse:
    """Why it was not done, above the route; or on the part's page without scripting."""
    if request.htmx:  # type: ignore[attr-defined]
        return render(request, "desk/_said.html", {"part": part, "said": error.messages[0]})
    messages.error(request, error.messages[0])
    return redirect("desk:part", uid=part.uid)


def _guessed(request: HttpRequest) -> Decimal | None:
    """The hours that the floor guessed for it, where the page was asked with them."""
    given = request.GET.get("hours", "")
    return Decimal(given) if re.fullmatch(r"\d{1,4}(\.\d{1,2})?", given, re.ASCII) else None


@require_http_methods(["GET", "POST"])
@role_required(*DESK)
def add(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Another step for a part."""
    part = part_of(uid)
    form = NewStepForm(request.POST or None, initial={"quantity": _guessed(request)})
    if request.method == "POST" and form.is_valid():
        try:
            services.add_step(part=part, who=who(request), now=timezone.now(), **form.cleaned_data)
            return redirect("desk:part", uid=part.uid)
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
    context = {"part": part, "restoration": part.restoration, "form": form}
    return render(request, "desk/step_new.html", context, status=422 if request.method == "POST" else 200)


@role_required(*DESK)
@posted_from("desk:part", row=(Step, "part__uid"))
def take_off(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, now = step_of(uid), timezone.now()
    try:
        services.remove_step(step=row, who=who(request), now=now)
    except ValidationError as error:
        return _refused(request, row.part, error)
    way = way_to_undo(request, row, now)
    if not request.htmx:  # type: ignore[attr-defined]
        messages.success(request, _("“%(step)s” is off the route.") % {"step": row}, extra_tags=way)
    return _back(request, row.part, taken=row, way=way)


@role_required(*DESK)
@posted_from("desk:part", row=(Step, "part__uid"))
def bring_back(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = step_of(uid)
    try:
        services.bring_back_step(step=row, who=who(request), now=timezone.now())
    except ValidationError as error:
        return _refused(request, row.part, error)
    return _back(request, row.part)


@role_required(*DESK)
@posted_from("desk:part", row=(Step, "part__uid"))
def move(request: HttpRequest, uid: UUID, way: str) -> HttpResponse:
    row = step_of(uid)
    if way not in {"earlier", "later"}:
        raise Http404
    try:
        services.move_step(step=row, earlier=way == "earlier", who=who(request), now=timezone.now())
    except ValidationError as error:
        return _refused(request, row.part, error)
    return _back(request, row.part)


@role_required(*DESK)
@posted_from("desk:step")
def add_wait(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = step_of(uid)
    form = WaitForm(request.POST, step=row)
    if form.is_valid():
        try:
            services.wait_for(step=row, on=form.cleaned_data["on"], who=who(request), now=timezone.now())
            return redirect("desk:step", uid=row.uid)
        except ValidationError as error:
            form.add_error("on", ValidationError(error.messages))
    context = _context(row, step_form(instance=row)) | {"wait_form": form}
    return render(request, "desk/step.html", context, status=422)


@role_required(*DESK)
@posted_from("desk:step", row=(Wait, "step__uid"))
def remove_wait(request: HttpRequest, pk: int) -> HttpResponse:
    wait = get_object_or_404(Wait.objects.select_related("step__part__restoration", "on__part"), pk=pk)
    uid = wait.step.uid
    try:
        services.stop_waiting(wait=wait, who=who(request), now=timezone.now())
    except ValidationError as error:
        messages.error(request, error.messages[0])
    return redirect("desk:step", uid=uid)


urlpatterns = [
    path("parts/<uuid:uid>/steps/", add, name="add_step"),
    path("steps/<uuid:uid>/", step, name="step"),
    path("steps/<uuid:uid>/take-off/", take_off, name="take_off"),
    path("steps/<uuid:uid>/bring-back/", bring_back, name="bring_back_step"),
    path("steps/<uuid:uid>/waits/", add_wait, name="add_wait"),
    path("steps/<uuid:uid>/<str:way>/", move, name="move_step"),
    path("waits/<int:pk>/remove/", remove_wait, name="remove_wait"),
]
