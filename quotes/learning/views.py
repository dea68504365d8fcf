"""What the floor taught the rates: suggestions to accept or refuse, how often prices held, and bikes alike."""

import json
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.engine.money import from_minor, places
from quotes.learning import deciding, finished, happened, showing, studying
from quotes.learning.forms import LookAlikesForm, RefuseForm
from quotes.learning.models import Study, Suggestion
from shop import currency
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, role_required
from shop.posting import posted_from
from shop.routes.models import Task
from shop.text import minutes, money

UNPROCESSABLE = 422


@require_safe
@role_required(ROLE_MANAGER)
def suggestions(request: HttpRequest) -> HttpResponse:
    """The suggestions of the newest study, and whether another one is under way."""
    study = Study.objects.filter(ended_at__isnull=False).first()
    rows = list(study.suggestions.select_related("decision")) if study else []
    under_way = studying.under_way()
    context: dict[str, Any] = {
        "study": study,
        "groups": showing.groups(rows),
        "outliers": _outliers(study) if study else [],
        "causes": happened.causes(),
        "under_way": under_way,
        "progress": showing.progress(under_way) if under_way else "",
    }
    return render(request, "learning/list.html", context)


def _outliers(study: Study) -> list[dict[str, Any]]:
    """Tasks that were left out, by name."""
    told = json.loads(study.outliers)
    tasks = Task.objects.select_related("restoration").in_bulk([int(one["task"]) for one in told])
    return [one | {"task": tasks[int(one["task"])]} for one in told if int(one["task"]) in tasks]


@role_required(ROLE_MANAGER)
@posted_from("learning:suggestions", takes=())
def study(request: HttpRequest) -> HttpResponse:
    """Look at all that happened anew, in the background."""
    try:
        studying.ask(who=request.user.get_username(), now=timezone.now())
        messages.success(request, _("Under way. Look at this page again in a moment."))
    except ValidationError as error:
        messages.error(request, error.messages[0])
    return redirect("learning:suggestions")


@require_safe
@role_required(ROLE_MANAGER)
def suggestion(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _page(request, _found(uid), RefuseForm())


def _found(uid: UUID) -> Suggestion:
    return get_object_or_404(Suggestion.objects.select_related("decision", "study"), uid=uid)


def _page(request: HttpRequest, row: Suggestion, form: RefuseForm) -> HttpResponse:
    context = {
        "row": row,
        "shown": showing.shown(row),
        "pictures": showing.drawings_of(row),
        "in_force": showing.in_force(row),
        "more": showing.more(row),
        "form": form,
    }
    return render(request, "learning/suggestion.html", context, status=UNPROCESSABLE if form.errors else 200)


@role_required(ROLE_MANAGER)
@posted_from("learning:suggestion")
def accept(request: HttpRequest, uid: UUID) -> HttpResponse:
    now = timezone.now()
    try:
        found = deciding.accept(
            suggestion=_found(uid), today=timezone.localdate(now), who=request.user.get_username(), now=now
        )
        messages.success(request, _("Accepted. Noted from today on: %(what)s.") % {"what": found.noted})
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("learning:suggestion", uid=uid)


@role_required(ROLE_MANAGER)
@posted_from("learning:suggestion")
def refuse(request: HttpRequest, uid: UUID) -> HttpResponse:
    form = RefuseForm(request.POST)
    row = _found(uid)
    if form.is_valid():
        try:
            deciding.refuse(
                suggestion=row, reason=form.cleaned_data["reason"], who=request.user.get_username(), now=timezone.now()
            )
        except ValidationError as error:
            messages.error(request, error.messages[0])
        else:
            messages.success(request, _("Refused. What is assumed stays as it is."))
        return redirect("learning:suggestion", uid=uid)
    return _page(request, row, form)


@require_safe
@role_required(ROLE_MANAGER)
def calibration(request: HttpRequest) -> HttpResponse:
    """How often fixed prices held."""
    bikes = finished.bikes()
    found = finished.calibrated(bikes, today=timezone.localdate())
    context = {"words": showing.calibration_words(found), "bikes": [_bike(bike) for bike in bikes[:50]]}
    return render(request, "learning/calibration.html", context)


def _bike(bike: finished.Bike) -> dict[str, Any]:
    return {
        "restoration": bike.restoration,
        "expected": _money(bike.expected),
        "limit": _money(bike.expected + bike.contingency),
        "actual": _money(bike.actual),
        "within": bike.held.within,
    }


def _money(amount: int) -> str:
    code = currency.code()
    return money(from_minor(amount, digits=places(code)), code)


@require_safe
@role_required(ROLE_DESK, ROLE_MANAGER)
def look_alikes(request: HttpRequest) -> HttpResponse:
    """A ballpark from the finished bikes that are most like the one somebody speaks of."""
    form = LookAlikesForm(request.GET or None)
    context: dict[str, Any] = {"form": form}
    if form.is_bound and form.is_valid():
        ballpark, known = finished.look_alikes(form.said())
        context["asked"] = True
        if ballpark is not None:
            context |= {
                "low": _money(ballpark.low),
                "middle": _money(ballpark.middle),
                "high": _money(ballpark.high),
                "near": [
                    _bike(known[near.bike.key])
                    | {"minutes": minutes(near.bike.minutes), "alike": round(100 * (1 - near.distance))}
                    for near in ballpark.bikes
                ],
            }
    return render(request, "learning/look_alikes.html", context, status=UNPROCESSABLE if form.errors else 200)
