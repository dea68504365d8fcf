"""The checks of an operation: the manager adds, changes, orders and ends them, and answers what a returning cause proposes."""

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
from shop.floor.returning import proposals
from shop.methods.checks import add_check, answer_cause, change_check, move_check
from shop.methods.models import Cause, Check, Operation
from shop.people.roles import ROLE_MANAGER, has_role, role_required
from shop.posting import posted_from

UNPROCESSABLE = 422
FIELDS = ("words", "kind", "unit", "low", "high", "kind_of_part", "against")


def _form(*fields: str) -> type[DefinitionForm]:
    made: Any = forms.modelform_factory(Check, form=DefinitionForm, fields=fields, formfield_callback=_box)
    return cast(type[DefinitionForm], made)


@require_safe
@role_required(*DESK)
def checks(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What is looked at before a step of this operation is done, and what is proposed."""
    operation = get_object_or_404(Operation, uid=uid)
    rows = list(operation.checks.select_related("kind_of_part", "against").order_by("position"))
    context = {
        "operation": operation,
        "used": [row for row in rows if not row.ended],
        "ended": [row for row in rows if row.ended],
        "proposals": [one for one in proposals() if one.operation.pk == operation.pk],
        "may_change": has_role(request.user, ROLE_MANAGER),
    }
    return render(request, "desk/methods/checks.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def new(request: HttpRequest, uid: UUID) -> HttpResponse:
    operation = get_object_or_404(Operation, uid=uid)
    form = _form(*FIELDS)(request.POST or None)
    if request.method == "POST" and form.is_valid():
        given = {name: value for name, value in form.cleaned_data.items() if value is not None}
        row = Check(operation=operation, **given)
        try:
            add_check(check=row, who=who(request), now=timezone.now())
            messages.success(request, _("Added. It is asked from now on."))
            return redirect("desk:checks", uid=operation.uid)
        except ValidationError as error:
            _place(form, error, row)
    context = {"operation": operation, "form": form, "check": None}
    return render(request, "desk/methods/check.html", context, status=UNPROCESSABLE if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def check(request: HttpRequest, uid: UUID) -> HttpResponse:
    """One check. What was checked with it before keeps the words it was asked in."""
    row = get_object_or_404(Check.objects.select_related("operation"), uid=uid)
    of = _form(*FIELDS, "ended")
    if request.method != "POST":
        return render(request, "desk/methods/check.html", _context(row, of(instance=row)))
    form = of(request.POST, instance=Check.objects.get(pk=row.pk))
    if form.is_valid():
        try:
            changes = form.changes()
            if changes:
                change_check(check=row, changes=changes, seen=form.seen(), who=who(request), now=timezone.now())
            messages.success(request, _("Saved. What was checked before stays as it was asked."))
            return redirect("desk:checks", uid=row.operation.uid)
        except ValidationError as error:
            _place(form, error, Check.objects.get(pk=row.pk))
    return render(request, "desk/methods/check.html", _context(row, form), status=UNPROCESSABLE)


def _context(row: Check, form: DefinitionForm) -> dict[str, Any]:
    return {"operation": row.operation, "form": form, "check": row}


def _place(form: DefinitionForm, error: ValidationError, stored: Check) -> None:
    form.place(error, stored)


@role_required(ROLE_MANAGER)
@posted_from("desk:checks", row=(Check, "operation__uid"))
def move(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Check.objects.select_related("operation"), uid=uid)
    move_check(check=row, up=request.POST.get("up") == "1", who=who(request), now=timezone.now())
    return redirect("desk:checks", uid=row.operation.uid)


@role_required(ROLE_MANAGER)
@posted_from("desk:checks")
def answer(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Put the proposed check in with one tap, or say that it is not wanted."""
    operation = get_object_or_404(Operation, uid=uid)
    cause = get_object_or_404(Cause, uid=_uid(request.POST.get("cause")))
    wanted = request.POST.get("wanted") == "1"
    row = answer_cause(cause=cause, operation=operation, wanted=wanted, who=who(request), now=timezone.now())
    said = _("It is asked from now on: “%(check)s”.") if wanted else _("Not asked. It can be taken into use below.")
    messages.success(request, said % {"check": row.words} if wanted else said)
    return redirect("desk:checks", uid=operation.uid)


def _uid(given: Any) -> UUID:
    try:
        return UUID(str(given))
    except ValueError:
        return UUID(int=0)


urlpatterns = [
    path("methods/operations/<uuid:uid>/checks/", checks, name="checks"),
    path("methods/operations/<uuid:uid>/checks/new/", new, name="check_new"),
    path("methods/operations/<uuid:uid>/checks/proposed/", answer, name="check_answer"),
    path("methods/checks/<uuid:uid>/change/", check, name="check"),
    path("methods/checks/<uuid:uid>/move/", move, name="check_move"),
]
