"""Vendor work on one page: what is late, due, must leave and may leave, what is planned and out; and planning a lot."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import vendor_board, vendor_work
from quotes.desk.context import DESK
from quotes.desk.forms_vendor import StepsForm
from quotes.desk.views.editor import who
from quotes.desk.views.vendor_job import steps_wrong
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.vendor_jobs.standing import open_claims, without_charge

#: Claims and missing charges on this page; the vendors' own pages have all of them.
SHOWN = 10


@require_safe
@role_required(*DESK)
def board(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    found = vendor_board.shown(now=now)
    claims = open_claims()
    uncharged = without_charge(now=now).select_related("service__vendor").order_by("sent_on", "pk")
    context: dict[str, Any] = {
        "found": found,
        "pictures": vendor_board.pictures(found.everything_out, found.day),
        "claims": claims[:SHOWN],
        "more_claims": max(len(claims) - SHOWN, 0),
        "uncharged": uncharged[:SHOWN],
    }
    return render(request, "desk/vendor_work.html", context)


@role_required(*DESK)
@posted_from("desk:vendor_work", takes=())
def plan(request: HttpRequest) -> HttpResponse:
    """A lot of what is ticked."""
    form = StepsForm(request.POST)
    if not form.is_valid():
        messages.error(request, steps_wrong(form))
        return redirect("desk:vendor_work")
    try:
        job = vendor_work.plan(steps=list(form.cleaned_data["step"]), who=who(request), now=timezone.now())
    except ValidationError as error:
        for said in error.messages:
            messages.error(request, said)
        return redirect("desk:vendor_work")
    messages.success(request, _("%(job)s is planned. Look it over, then send it out.") % {"job": job})
    return redirect("desk:vendor_job", uid=job.uid)


urlpatterns = [
    path("vendor-work/", board, name="vendor_work"),
    path("vendor-work/plan/", plan, name="plan_lot"),
]
