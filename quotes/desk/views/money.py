"""The money of one job: what is agreed, due and received, what may go out, what is held; and of all jobs, for the manager."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from quotes.desk import money, money_jobs, saving
from quotes.desk.context import DESK
from quotes.desk.forms_money import LetGoForm, ReachForm, ReceiptForm, RefundForm, ReverseForm
from quotes.desk.views.editor import restoration_of, who
from quotes.pricing.models import Receipt
from quotes.pricing.money import instalments, receipts
from shop.people.roles import ROLE_MANAGER, role_required
from shop.posting import posted_from
from shop.restorations.models import Restoration
from shop.routes import funding

UNPROCESSABLE = 422
JOBS_EACH_PAGE = 40


@require_safe
@role_required(*DESK)
def job(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The money page of one restoration."""
    return _page(request, restoration_of(uid))


def _page(request: HttpRequest, row: Restoration, *, status: int = 200, **forms_: forms.Form) -> HttpResponse:
    """The page as it is now, with the form that was refused in its place."""
    shown = money.shown(row, timezone.localdate())
    refused_reach, refused_reverse = forms_.get("reach"), forms_.get("reverse")
    reach = [
        (stage, refused_reach if _is_for(refused_reach, stage.event) else ReachForm(event=stage.event))
        for stage in shown["waiting"]
    ]
    rows = [(one, _reverse_form(one, refused_reverse)) for one in shown["receipts"]]
    context = shown | {
        "reach": reach,
        "rows": rows,
        "receipt_form": forms_.get("receipt") or ReceiptForm(),
        "refund_form": forms_.get("refund") or RefundForm(),
        "let_go_form": forms_.get("let_go") or LetGoForm(queue=shown["queue"]),
    }
    return render(request, "desk/money.html", context, status=status)


def _is_for(form: forms.Form | None, event: str) -> bool:
    return isinstance(form, ReachForm) and form.event == event


def _reverse_form(one: money.Received, refused: forms.Form | None) -> ReverseForm | None:
    """None where there is nothing to reverse any more."""
    if isinstance(refused, ReverseForm) and refused.receipt == one.row.number:
        return refused
    can = not one.reversed_by and one.row.reverses_id is None
    return ReverseForm(receipt=one.row.number) if can else None


def _done(request: HttpRequest, uid: UUID, said: str) -> HttpResponse:
    messages.success(request, said)
    return redirect("desk:money", uid=uid)


def _tried(form: forms.Form, write: Callable[..., object], fallback: str) -> bool:
    """Whether ``write`` took what the form holds; what it refused stands at its field."""
    if not form.is_valid():
        return False
    try:
        write(form.cleaned_data)
    except ValidationError as error:
        saving.place(form, error, fallback)
        return False
    return True


@role_required(*DESK)
@posted_from("desk:money")
def note_receipt(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Note money that came in."""
    row, form = restoration_of(uid), ReceiptForm(request.POST)
    common: dict[str, Any] = {"restoration": row, "who": who(request), "now": timezone.now()}
    if _tried(form, lambda said: receipts.note(**said, **common), "amount_minor"):
        return _done(request, uid, _("The receipt is noted."))
    return _page(request, row, status=UNPROCESSABLE, receipt=form)


@role_required(*DESK)
@posted_from("desk:money")
def note_refund(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Note money that went back."""
    row, form = restoration_of(uid), RefundForm(request.POST)
    common: dict[str, Any] = {"restoration": row, "who": who(request), "now": timezone.now()}
    if _tried(form, lambda said: receipts.refund(**said, **common), "amount_minor"):
        return _done(request, uid, _("Noted: the money went back."))
    return _page(request, row, status=UNPROCESSABLE, refund=form)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*DESK)
def reverse_receipt(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Reverse a receipt that was a slip."""
    found = get_object_or_404(Receipt.objects.select_related("restoration"), uid=uid)
    if request.method != "POST":  # the address is left in the bar after a refusal
        return redirect("desk:money", uid=found.restoration.uid)
    row, form = restoration_of(found.restoration.uid), ReverseForm(request.POST, receipt=found.number)
    common: dict[str, Any] = {"receipt": found, "who": who(request), "now": timezone.now()}
    try:
        if _tried(form, lambda said: _reverse(said, common), "reason"):
            said = _("%(receipt)s is reversed. What really came in can be noted anew.") % {"receipt": found}
            return _done(request, row.uid, said)
    except receipts.AlreadyReversedError as error:  # the row has no form any more to say it at
        messages.error(request, error.messages[0])
        return redirect("desk:money", uid=row.uid)
    return _page(request, row, status=UNPROCESSABLE, reverse=form)


def _reverse(said: dict[str, Any], common: dict[str, Any]) -> None:
    receipts.reverse(**said, **common)


@role_required(*DESK)
@posted_from("desk:money")
def reach(request: HttpRequest, uid: UUID, event: str) -> HttpResponse:
    """Say that what payments wait for has come."""
    row, form = restoration_of(uid), ReachForm(request.POST, event=event)
    common: dict[str, Any] = {"restoration": row, "event": event, "who": who(request), "now": timezone.now()}
    if _tried(form, lambda said: instalments.reach(**said, **common), "day"):
        return _done(request, uid, _("Noted. What waited for it is due."))
    return _page(request, row, status=UNPROCESSABLE, reach=form)


@role_required(*DESK)
@posted_from("desk:money")
def unreach(request: HttpRequest, uid: UUID, event: str) -> HttpResponse:
    """Take that back."""
    row = restoration_of(uid)
    try:
        instalments.unreach(restoration=row, event=event, who=who(request), now=timezone.now())
    except ValidationError as error:
        messages.error(request, error.messages[0])
        return redirect("desk:money", uid=uid)
    return _done(request, uid, _("Taken back. It is not due any more."))


@role_required(*DESK)
@posted_from("desk:money")
def let_go(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Let steps go out before the money is in, by name."""
    row = restoration_of(uid)
    form = LetGoForm(request.POST, queue=money.shown(row, timezone.localdate())["queue"])
    common: dict[str, Any] = {"restoration": row, "who": who(request), "now": timezone.now()}
    if _tried(form, lambda said: _let_go(said, common), "steps"):
        return _done(request, uid, _("Noted. It may go out."))
    return _page(request, row, status=UNPROCESSABLE, let_go=form)


def _let_go(said: dict[str, Any], common: dict[str, Any]) -> None:
    out = funding.gone(common["restoration"])
    funding.override(**(said | {"steps": [UUID(step) for step in said["steps"]]}), out=out, **common)


@require_safe
@role_required(ROLE_MANAGER)
def jobs(request: HttpRequest) -> HttpResponse:
    """The money of all accepted jobs, the longest late first."""
    everything = bool(request.GET.get("all"))
    found = money_jobs.jobs(timezone.localdate(), settled=everything)
    page = Paginator(found.rows, JOBS_EACH_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "jobs": found, "everything": everything}
    return render(request, "desk/money_jobs.html", context)


urlpatterns = [
    path("restorations/<uuid:uid>/money/", job, name="money"),
    path("restorations/<uuid:uid>/receipts/", note_receipt, name="note_receipt"),
    path("restorations/<uuid:uid>/refunds/", note_refund, name="note_refund"),
    path("receipts/<uuid:uid>/reverse/", reverse_receipt, name="reverse_receipt"),
    path("restorations/<uuid:uid>/reached/<slug:event>/", reach, name="reach"),
    path("restorations/<uuid:uid>/not-reached/<slug:event>/", unreach, name="unreach"),
    path("restorations/<uuid:uid>/money/let-go/", let_go, name="let_go"),
    path("money/", jobs, name="money_jobs"),
]
