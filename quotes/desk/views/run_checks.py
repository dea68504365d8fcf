"""What is looked at before a bike leaves: the manager adds, changes, orders and ends it."""

from typing import Any, cast
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk.context import DESK
from quotes.desk.methods.definitions import DefinitionForm, _box
from quotes.desk.views.editor import who
from shop.methods.defining import CAUTION_GOES
from shop.methods.models import RunCheck, Stage
from shop.methods.run_checks import add_run_check, asked, change_run_check, move_run_check
from shop.people.roles import ROLE_MANAGER, has_role, role_required
from shop.posting import posted_from

UNPROCESSABLE = 422


def _form(*fields: str) -> type[DefinitionForm]:
    made: Any = forms.modelform_factory(RunCheck, form=DefinitionForm, fields=fields, formfield_callback=_box)
    return cast(type[DefinitionForm], made)


@require_safe
@role_required(*DESK)
def run_checks(request: HttpRequest) -> HttpResponse:
    rows = asked()
    context = {
        "stages": [(stage, [row for row in rows if row.stage == stage]) for stage in Stage],
        "ended": RunCheck.objects.filter(ended=True),
        "may_change": has_role(request.user, ROLE_MANAGER),
    }
    return render(request, "desk/methods/run_checks.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def new(request: HttpRequest) -> HttpResponse:
    form = _form("stage", "words", "caution")(request.POST or None, initial={"stage": request.GET.get("stage", "")})
    if request.method == "POST" and form.is_valid():
        row = RunCheck(**form.cleaned_data)
        try:
            add_run_check(check=row, who=who(request), now=timezone.now())
            messages.success(request, _("Added. It is asked from now on."))
            return redirect("desk:run_checks")
        except ValidationError as error:
            form.place(error, row)
    return _page(request, form, None)


def _page(request: HttpRequest, form: DefinitionForm, row: RunCheck | None) -> HttpResponse:
    goes = any(one.code == CAUTION_GOES for errors in form.errors.as_data().values() for one in errors)
    context = {"form": form, "check": row, "caution_goes": goes}
    return render(request, "desk/methods/run_check.html", context, status=UNPROCESSABLE if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def run_check(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One check. What was ticked with it before keeps the words it was asked in."""
    row = get_object_or_404(RunCheck, uid=uid)
    of = _form("words", "caution", "ended")
    if request.method != "POST":
        return _page(request, of(instance=row), row)
    form = of(request.POST, instance=RunCheck.objects.get(pk=row.pk))
    if form.is_valid():
        changes = form.changes()
        may_go = bool(request.POST.get("caution_may_go"))
        try:
            if changes:
                change_run_check(
                    check=row,
                    changes=changes,
                    seen=form.seen(),
                    caution_may_go=may_go,
                    who=who(request),
                    now=timezone.now(),
                )
            messages.success(request, _("Saved. What was ticked before stays as it was asked."))
            return redirect("desk:run_checks")
        except ValidationError as error:
            form.place(error, RunCheck.objects.get(pk=row.pk))
    return _page(request, form, row)


@role_required(ROLE_MANAGER)
@posted_from("desk:run_checks", takes=())
def move(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(RunCheck, uid=uid)
    move_run_check(check=row, up=request.POST.get("up") == "1", who=who(request), now=timezone.now())
    return redirect("desk:run_checks")


urlpatterns = [
    path("methods/runs/", run_checks, name="run_checks"),
    path("methods/runs/new/", new, name="run_check_new"),
    path("methods/runs/<uuid:uid>/", run_check, name="run_check"),
    path("methods/runs/<uuid:uid>/move/", move, name="run_check_move"),
]
