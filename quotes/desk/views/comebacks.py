"""What came back, by step, cause and who pays; and the small jobs that walked in."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk.context import DESK
from quotes.desk.forms_leaving import ComebackForm, PaidForm, SettleComebackForm, WalkInForm
from quotes.desk.views.editor import restoration_of, who
from quotes.desk.views.intake import _at_its_box
from quotes.engine.money import from_minor, places
from shop import currency
from shop.floor import comebacks as services
from shop.floor import walk_ins
from shop.floor.leaving import steps_of
from shop.floor.models import Comeback, HandedOver, WalkIn
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.restorations.models import Restoration
from shop.routes.models import Step

UNPROCESSABLE = 422
SHORTEST = 60


# -- comebacks ---------------------------------------------------------------------------------------------------------


@require_safe
@role_required(*DESK)
def comebacks(request: HttpRequest) -> HttpResponse:
    return _listed(request)


def _listed(request: HttpRequest, refused: tuple[int, SettleComebackForm] | None = None) -> HttpResponse:
    rows = list(services.comebacks())
    key, form = refused or (0, None)
    context = {
        "rows": [(row, form if row.pk == key else SettleComebackForm(auto_id=f"{row.pk}-%s")) for row in rows],
        "counted": services.counted(rows),
    }
    return render(request, "desk/comebacks.html", context, status=UNPROCESSABLE if refused else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def comeback(request: HttpRequest, uid: UUID) -> HttpResponse:
    """A bike came back. The step is found by words; looking for it keeps what was typed."""
    row = restoration_of(uid)
    if not HandedOver.objects.filter(restoration=row).exists():
        messages.info(request, _("This bike is not handed over yet. What is wrong with it is a snag."))
        return redirect("desk:hand_over", uid=uid)
    words = (request.POST.get("find") or "").strip()[:SHORTEST]
    choices = _choices(row, words, request.POST.get("step"))
    if request.method != "POST":
        return _form_page(request, row, ComebackForm(initial={"came_on": timezone.localdate()}, steps=choices))
    if request.POST.get("then") == "find":
        given = {name: value for name, value in request.POST.items() if name in ComebackForm.base_fields}
        return _form_page(request, row, ComebackForm(initial=given, steps=choices), words)
    form = ComebackForm(request.POST, steps=choices)
    if form.is_valid() and _noted(request, row, form):
        messages.success(request, _("Noted. It is a task on the floor now."))
        return redirect("desk:comebacks")
    return _form_page(request, row, form, words)


def _choices(row: Restoration, words: str, chosen: str | None) -> list[tuple[str, str]]:
    """The steps found, and the one chosen before."""
    found = steps_of(row, words) if words else []
    keys = {str(step.uid) for step in found}
    if chosen and chosen not in keys:
        known = Step.objects.filter(part__restoration=row).select_related("part", "operation", "service__vendor")
        found = [*known.filter(uid=_uuid(chosen)), *found]
    return [(str(step.uid), f"{step.part}: {step}") for step in found]


def _uuid(given: str) -> UUID:
    try:
        return UUID(given)
    except ValueError:
        return UUID(int=0)


def _noted(request: HttpRequest, row: Restoration, form: ComebackForm) -> bool:
    given = dict(form.cleaned_data)
    step = get_object_or_404(Step.objects.select_related("part", "operation"), uid=given.pop("step"))
    try:
        services.note_comeback(restoration=row, step=step, who=who(request), now=timezone.now(), **given)
    except ValidationError as error:
        _at_its_box(form, error, {})
        return False
    return True


def _form_page(request: HttpRequest, row: Restoration, form: ComebackForm, words: str = "") -> HttpResponse:
    context = {"restoration": row, "form": form, "words": words, "steps": form.fields["step"].choices}  # type: ignore[attr-defined]
    return render(request, "desk/comeback.html", context, status=UNPROCESSABLE if form.errors else 200)


@role_required(*DESK)
@posted_from("desk:comebacks", takes=())
def settle_comeback(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = get_object_or_404(Comeback.objects.select_related("restoration", "task"), uid=uid)
    form = SettleComebackForm(request.POST, auto_id=f"{row.pk}-%s")
    if form.is_valid():
        try:
            services.settle_comeback(comeback=row, how=form.cleaned_data["how"], who=who(request), now=timezone.now())
            messages.success(request, _("Settled."))
            return redirect("desk:comebacks")
        except ValidationError as error:
            _at_its_box(form, error, {})
    return _listed(request, (row.pk, form))


# -- small jobs --------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def small_jobs(request: HttpRequest) -> HttpResponse:
    """The list, and the one form with which a small job is noted."""
    if request.method != "POST":
        return _jobs(request, WalkInForm(initial={"agreed_on": timezone.localdate()}))
    form = WalkInForm(request.POST)
    if form.is_valid():
        try:
            given: dict[str, Any] = form.cleaned_data
            walk_ins.note_walk_in(who=who(request), now=timezone.now(), **given)
            messages.success(request, _("Noted. It is a task on the floor now."))
            return redirect("desk:small_jobs")
        except ValidationError as error:
            _at_its_box(form, error, {})
    return _jobs(request, form)


def _jobs(request: HttpRequest, form: WalkInForm) -> HttpResponse:
    today = timezone.localdate()
    digits = places(currency.code())
    rows = [
        (row, from_minor(row.agreed_minor, digits=digits), PaidForm(initial={"on": today}, auto_id=f"{row.pk}-%s"))
        for row in walk_ins.walk_ins()
    ]
    return render(
        request, "desk/small_jobs.html", {"rows": rows, "form": form}, status=UNPROCESSABLE if form.errors else 200
    )


def _job(uid: UUID) -> WalkIn:
    return get_object_or_404(WalkIn.objects.select_related("task"), uid=uid)


def _said(request: HttpRequest, error: ValidationError) -> None:
    for said in error.messages:
        messages.error(request, said)


@role_required(*DESK)
@posted_from("desk:small_jobs", takes=())
def small_job_done(request: HttpRequest, uid: UUID) -> HttpResponse:
    try:
        walk_ins.finish_walk_in(walk_in=_job(uid), who=who(request), now=timezone.now())
    except ValidationError as error:
        _said(request, error)
    return redirect("desk:small_jobs")


@role_required(*DESK)
@posted_from("desk:small_jobs", takes=())
def small_job_paid(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The day it was paid; ``undo`` takes that back."""
    row, form = _job(uid), PaidForm(request.POST)
    undo = bool(request.POST.get("undo"))
    if not undo and not form.is_valid():
        for errors in form.errors.values():
            for said in errors:
                messages.error(request, str(said))
        return redirect("desk:small_jobs")
    try:
        walk_ins.paid(walk_in=row, on=None if undo else form.cleaned_data["on"], who=who(request), now=timezone.now())
    except ValidationError as error:
        _said(request, error)
    return redirect("desk:small_jobs")


urlpatterns = [
    path("comebacks/", comebacks, name="comebacks"),
    path("comebacks/<uuid:uid>/settle/", settle_comeback, name="settle_comeback"),
    path("restorations/<uuid:uid>/comeback/", comeback, name="comeback"),
    path("small-jobs/", small_jobs, name="small_jobs"),
    path("small-jobs/<uuid:uid>/done/", small_job_done, name="small_job_done"),
    path("small-jobs/<uuid:uid>/paid/", small_job_paid, name="small_job_paid"),
]
