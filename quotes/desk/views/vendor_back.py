"""A vendor job is back, or some of it: counting in, straight on, again; what it is charged, and what is claimed."""

from collections.abc import Sequence
from functools import partial
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path
from django.utils import timezone
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from quotes.desk import vendor_job, vendor_work
from quotes.desk.context import DESK
from quotes.desk.forms_found import FoundPhotographForm
from quotes.desk.forms_vendor import ArrivalForm, CameForm, ChargeForm, ClaimForm, OnForm, SettleForm
from quotes.desk.views.editor import who
from quotes.desk.views.vendor_job import (
    UNPROCESSABLE,
    answer,
    arrival_forms,
    line_of,
    page,
    person,
    pressed,
    told_by,
    tried,
)
from shop.papers.models import Photograph
from shop.papers.photographs_forms import photograph_from
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.vendor_jobs import charging, claims
from shop.vendor_jobs.models import Charge, Claim, Job, Line
from shop.vendor_jobs.receiving import Arrival, Received

Boxes = Sequence[tuple[ArrivalForm, FoundPhotographForm]]


def _by(request: HttpRequest) -> dict[str, Any]:
    return {"who": who(request), "now": timezone.now()}


@role_required(*DESK)
@posted_from("desk:vendor_job")
def count_in(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What came of each line; what is in no box stays out."""
    row = vendor_job.known_job(uid)
    lines = [line for line in vendor_job.lines_of(row) if line.outcome in {Line.Outcome.OPEN, Line.Outcome.LOST}]
    boxes = [arrival_forms(line, request) for line in lines]
    form = CameForm(request.POST)
    right = all([form.is_valid(), *(_right(*pair) for pair in boxes)])
    done = tried(request, form, partial(_counted, request, row, boxes)) if right else False
    if done is False:
        arrivals = {line.pk: pair for line, pair in zip(lines, boxes, strict=True)}
        return page(request, row, status=UNPROCESSABLE, came=form, arrivals=arrivals)
    return redirect("desk:vendor_job", uid=uid)


def _right(form: ArrivalForm, photograph: FoundPhotographForm) -> bool:
    return form.is_valid() and (not photograph.came or photograph.is_valid())


def _counted(request: HttpRequest, row: Job, boxes: Boxes, given: dict[str, Any]) -> None:
    """Photographs are taken in last, when all else is in order."""
    arrivals = [
        Arrival(form.line, **form.counts(), note=form.cleaned_data["note"], photograph=_photograph(request, photograph))
        for form, photograph in boxes
        if any(form.counts().values())
    ]
    found = vendor_work.count_in(
        job=row,
        arrivals=arrivals,
        **given,
        person=person(request),
        now=timezone.now(),
    )
    messages.success(request, _said(found))


def _photograph(request: HttpRequest, form: FoundPhotographForm) -> Photograph | None:
    if not form.came:
        return None
    kept = photograph_from(request, form)
    if kept is None:
        raise ValidationError(_("The photograph could not be taken in. What is wrong stands beside it."))
    return kept


def _said(found: Received) -> str:
    """What was counted in, what can begin now, and that pieces which go their own way have no tag yet."""
    said = [_("Counted in.")]
    if found.ready:
        names = get_text_list([f"{one.part}: {one}" for one in found.ready], _("and"))
        said.append(_("Can begin now: %(steps)s.") % {"steps": names})
    if any(line.split_from_id is not None for line in found.lines):
        said.append(_("What goes its own way from here has no tag yet: make one."))
    return " ".join(said)


@role_required(*DESK)
@posted_from("desk:vendor_job")
def go_on(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Straight on to the next vendor."""
    row = vendor_job.known_job(uid)
    form = OnForm(request.POST, lots=vendor_job.next_lots(row))

    def write(given: dict[str, Any]) -> None:
        vendor_work.straight_on(
            job=row,
            to=given["to"],
            on=given["on"],
            said_by=given["looked_by"],
            told=told_by(given),
            person=person(request),
            now=timezone.now(),
        )

    return answer(request, row, "on", form, write, _("It went straight on."))


@role_required(*DESK)
@posted_from("desk:vendor_job", row=(Line, "job__uid"))
def take_back(request: HttpRequest, uid: UUID) -> HttpResponse:
    """What was said of a line today was a slip."""
    line = line_of(uid)

    def do() -> str:
        vendor_work.take_back(line=line, person=person(request), now=timezone.now())
        return _("Taken back: %(part)s is out, as before, and its tag with it.") % {"part": line.step.part}

    pressed(request, do)
    return redirect("desk:vendor_job", uid=line.job.uid)


@role_required(*DESK)
@posted_from("desk:vendor_job")
def again(request: HttpRequest, uid: UUID) -> HttpResponse:
    """A new lot of what was rejected."""
    row = vendor_job.known_job(uid)
    try:
        job = vendor_work.plan_again(job=row, **_by(request))
    except ValidationError as error:
        for said in error.messages:
            messages.error(request, said)
        return redirect("desk:vendor_job", uid=uid)
    messages.success(request, _("%(job)s is planned: what was rejected goes again.") % {"job": job})
    return redirect("desk:vendor_job", uid=job.uid)


@role_required(*DESK)
@posted_from("desk:vendor_job")
def charge(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = vendor_job.known_job(uid), ChargeForm(request.POST)
    write = lambda given: charging.enter_charge(job=row, **given, **_by(request))  # noqa: E731
    return answer(request, row, "charge", form, write, _("The charge is entered."))


@role_required(*DESK)
@posted_from("desk:vendor_job", row=(Charge, "job__uid"))
def reverse_charge(request: HttpRequest, uid: UUID) -> HttpResponse:
    found = get_object_or_404(Charge.objects.select_related("job"), uid=uid)

    def do() -> str:
        charging.reverse_charge(charge=found, **_by(request))
        return _("Reversed. What was really charged can be entered anew.")

    pressed(request, do)
    return redirect("desk:vendor_job", uid=found.job.uid)


@role_required(*DESK)
@posted_from("desk:vendor_job")
def claim(request: HttpRequest, uid: UUID) -> HttpResponse:
    """A claim made by hand: what came to light later, or was told by phone."""
    row = vendor_job.known_job(uid)
    form = ClaimForm(request.POST, lines=vendor_job.claimable(row), terms=vendor_job.terms(row))

    def write(given: dict[str, Any]) -> None:
        claims.ask(line=given["line"], words=given["words"], asked=form.asked(), **_by(request))

    return answer(request, row, "claim", form, write, _("The claim is made."))


@role_required(*DESK)
@posted_from("desk:vendor_job", row=(Claim, "line__job__uid"))
def settle(request: HttpRequest, uid: UUID) -> HttpResponse:
    found = get_object_or_404(Claim.objects.select_related("line__job"), uid=uid)
    row, form = vendor_job.known_job(found.line.job.uid), SettleForm(request.POST, claim=found)

    def write(given: dict[str, Any]) -> None:
        claims.settle_claim(
            claim=found,
            settled_minor=given["settled_minor"],
            payer=given["payer"],
            how=given["settled_how"],
            replaced=given.get("replaced", False),
            **_by(request),
        )

    return answer(request, row, "settle", form, write, _("The claim is settled."))


urlpatterns = [
    path("vendor-work/jobs/<uuid:uid>/count-in/", count_in, name="count_in"),
    path("vendor-work/jobs/<uuid:uid>/on/", go_on, name="go_on"),
    path("vendor-work/jobs/<uuid:uid>/again/", again, name="again_at_vendor"),
    path("vendor-work/jobs/<uuid:uid>/charge/", charge, name="enter_charge"),
    path("vendor-work/jobs/<uuid:uid>/claim/", claim, name="make_claim"),
    path("vendor-work/lines/<uuid:uid>/take-back/", take_back, name="take_back_arrival"),
    path("vendor-work/charges/<uuid:uid>/reverse/", reverse_charge, name="reverse_charge"),
    path("vendor-work/claims/<uuid:uid>/settle/", settle, name="settle_claim"),
]
