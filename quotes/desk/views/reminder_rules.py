"""What is reminded of, and when: the whole shop's rules, those of vendors of their own, and quiet times. For the manager."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from quotes.desk import saving
from quotes.desk.forms_reminders import QuietForm, RulesForm, VendorRuleForm
from shop.methods.models import Vendor
from shop.people.roles import ROLE_MANAGER, role_required
from shop.posting import posted_from
from shop.vendor_jobs.models import Kind, Quiet
from shop.vendor_jobs.reminding.rules import (
    AT_ONCE,
    drop_rule,
    quiet,
    rules_of_vendors,
    set_quiet,
    set_rule,
    set_rules,
)

UNPROCESSABLE = 422


def _said(request: HttpRequest) -> dict[str, Any]:
    return {"who": request.user.get_username(), "now": timezone.now()}


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(ROLE_MANAGER)
def reminder_rules(request: HttpRequest) -> HttpResponse:
    form = RulesForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            set_rules(said=form.said(), **_said(request))
        except ValidationError as error:
            saving.place(form, error, f"days_{Kind.OVERDUE}")
        else:
            messages.success(request, _("Saved. It holds within a minute."))
            return redirect("desk:reminder_rules")
    return _rules_page(request, form=form)


@role_required(ROLE_MANAGER)
@posted_from("desk:reminder_rules", takes=())
def quiet_times(request: HttpRequest) -> HttpResponse:
    form = QuietForm(request.POST)
    if form.is_valid():
        try:
            set_quiet(**form.cleaned_data, **_said(request))
        except ValidationError as error:
            saving.place(form, error, "evening")
        else:
            messages.success(request, _("Saved. It holds within a minute."))
            return redirect("desk:reminder_rules")
    return _rules_page(request, quiet_form=form)


def _rules_page(
    request: HttpRequest,
    *,
    form: RulesForm | None = None,
    quiet_form: QuietForm | None = None,
    own_form: VendorRuleForm | None = None,
) -> HttpResponse:
    wrong = any(one is not None and one.errors for one in (form, quiet_form, own_form))
    context = {
        "form": form or RulesForm(),
        "quiet_form": quiet_form or _quiet_of(quiet()),
        "own": rules_of_vendors(),
        "own_form": own_form or VendorRuleForm(),
        "vendors": Vendor.objects.exists(),
        "at_once": AT_ONCE,
    }
    return render(request, "desk/reminder_rules.html", context, status=UNPROCESSABLE if wrong else 200)


def _quiet_of(row: Quiet) -> QuietForm:
    kept = {"morning": f"{row.morning:%H:%M}", "evening": f"{row.evening:%H:%M}"}
    return QuietForm(initial=kept | {"days": list(row.days), "digest": row.digest})


@role_required(ROLE_MANAGER)
@posted_from("desk:reminder_rules", takes=())
def set_vendor_rule(request: HttpRequest) -> HttpResponse:
    """A vendor goes by a rule of its own from now on; said again, it is said anew."""
    form = VendorRuleForm(request.POST)
    if form.is_valid():
        try:
            set_rule(**form.given(), **_said(request))
        except ValidationError as error:
            saving.place(form, error, "days")
        else:
            messages.success(request, _("Saved. It holds within a minute."))
            return redirect("desk:reminder_rules")
    return _rules_page(request, own_form=form)


@role_required(ROLE_MANAGER)
@posted_from("desk:reminder_rules", takes=())
def drop_vendor_rule(request: HttpRequest, uid: UUID, kind: str) -> HttpResponse:
    """A vendor goes by the shop's rule again."""
    if kind not in Kind.values:
        raise Http404
    vendor = get_object_or_404(Vendor, uid=uid)
    drop_rule(kind=Kind(kind), vendor=vendor, **_said(request))
    said = _("%(vendor)s goes by the shop's rule again: %(kind)s.")
    messages.success(request, said % {"vendor": vendor, "kind": Kind(kind).label})
    return redirect("desk:reminder_rules")


urlpatterns = [
    path("workshop/reminders/", reminder_rules, name="reminder_rules"),
    path("workshop/reminders/quiet/", quiet_times, name="quiet_times"),
    path("workshop/reminders/vendors/", set_vendor_rule, name="set_vendor_rule"),
    path("workshop/reminders/vendors/<uuid:uid>/<str:kind>/drop/", drop_vendor_rule, name="drop_vendor_rule"),
]
