"""One button for damage found: what it is, what was seen and perhaps a photograph, said in one step."""

from functools import partial
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import damages, floor_reports, saving
from quotes.desk.context import DESK
from quotes.desk.forms_found import FoundForm, FoundPhotographForm, WhereForm
from quotes.desk.views.damage import said_of
from quotes.desk.views.editor import part_of, restoration_of, who
from quotes.pricing import variations
from quotes.pricing.damages import found
from shop.floor.models import DamageReport
from shop.papers.photographs_forms import photograph_from
from shop.people.roles import role_required
from shop.restorations.models import Part, PartDamage
from shop.routes.models import Step

UNPROCESSABLE = 422


@require_safe
@role_required(*DESK)
def where(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Which part of the bike it was found on; chosen, its page follows."""
    row = restoration_of(uid)
    parts = (
        row.parts.filter(removed_at__isnull=True, split_from__isnull=True)
        .select_related("restoration")
        .order_by("position")
    )
    form = WhereForm(request.GET if "part" in request.GET else None, parts=parts)
    if form.is_bound and form.is_valid():
        return redirect("desk:damage_found", uid=form.cleaned_data["part"].uid)
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "desk/damage_found_where.html", {"restoration": row, "form": form}, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def damage_found(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What strip-down revealed on a part, said at once whether it was listed before or not."""
    part = part_of(uid)
    options = damages.options(part)
    by_value = {option.value: option for option in options}
    if request.method != "POST":
        form = FoundForm(values=list(by_value))
        report = floor_reports.report_of(request.GET.get("report"), part)
        if report is not None and report.settled_at is None:
            floor_reports.begin(form, report, options)
        return _page(request, part, options, form, FoundPhotographForm())
    form = FoundForm(request.POST, values=list(by_value))
    chosen = by_value.get(form.chosen)
    shows = chosen.name if chosen else form["name"].value() or ""
    photograph = FoundPhotographForm(request.POST, request.FILES, shows=str(shows))
    if form.is_valid() and (not photograph.came or photograph.is_valid()):
        try:
            report = floor_reports.report_of(request.POST.get("report"), part)
            row, steps = _found(request, part, chosen, form, photograph, report)
            return _next(request, row, steps, report)
        except ValidationError as error:
            saving.place(form, error, "what")
        except _NoPhotographError:
            pass  # said at its box
    return _page(request, part, options, form, photograph, status=UNPROCESSABLE)


class _NoPhotographError(Exception):
    """The photograph could not be taken in; its form says why."""


def _found(
    request: HttpRequest,
    part: Part,
    chosen: damages.Option | None,
    form: FoundForm,
    photograph: FoundPhotographForm,
    report: DamageReport | None,
) -> tuple[PartDamage, list[Step]]:
    """The photograph is taken in last, when all else is in order. What the floor reported is settled with it."""
    kept = photograph_from(request, photograph) if photograph.came else None
    if photograph.came and kept is None:
        raise _NoPhotographError
    write = partial(floor_reports.found_as_reported, report=report) if report else found
    return write(
        part=part,
        uid=form.cleaned_data["uid"],
        what=chosen.row if chosen else None,
        name=form.cleaned_data["name"],
        note=form.cleaned_data["note"],
        again=form.cleaned_data["again"],
        photograph=kept,
        who=who(request),
        now=timezone.now(),
    )


def _next(
    request: HttpRequest, row: PartDamage, steps: list[Step], report: DamageReport | None
) -> HttpResponseRedirect:
    """To where it goes on: add the steps of what no list knows; offer what the customer has to agree to."""
    messages.success(request, said_of(row, steps))
    if row.damage is None:
        query = {"hours": f"{report.hours:f}"} if report else {}
        return redirect(reverse("desk:add_step", args=[row.part.uid], query=query))
    if variations.agreed(row.part.restoration).main is not None:
        return redirect("desk:restoration", uid=row.part.restoration.uid)
    return redirect("desk:part", uid=row.part.uid)


def _page(
    request: HttpRequest,
    part: Part,
    options: list[damages.Option],
    form: FoundForm,
    photograph: FoundPhotographForm,
    *,
    status: int = 200,
) -> HttpResponse:
    context: dict[str, Any] = {
        "part": part,
        "restoration": part.restoration,
        "options": options,
        "any_there": any(there for option in options for _method, there in option.methods),
        "form": form,
        "photograph_form": photograph,
        "report": (report := floor_reports.report_of(request.POST.get("report") or request.GET.get("report"), part)),
        "guess": floor_reports.hours_words(report) if report else "",
    }
    return render(request, "desk/damage_found.html", context, status=status)


urlpatterns = [
    path("restorations/<uuid:uid>/damage-found/", where, name="damage_found_where"),
    path("parts/<uuid:uid>/damage-found/", damage_found, name="damage_found"),
]
