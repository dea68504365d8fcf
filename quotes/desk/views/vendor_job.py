"""The page of a vendor job, and what is done with it before it leaves and while it is out."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from quotes.desk import history, saving, vendor_job, vendor_work
from quotes.desk.context import DESK
from quotes.desk.forms_found import FoundPhotographForm
from quotes.desk.forms_vendor import (
    AgreeForm,
    ArrivalForm,
    CameForm,
    ChargeForm,
    ClaimForm,
    LineForm,
    LotForm,
    NewDayForm,
    OnForm,
    SendForm,
    SettleForm,
    StepsForm,
)
from quotes.desk.views.editor import who
from shop.papers.photographs_forms import photograph_from
from shop.people.models import User
from shop.people.roles import role_required
from shop.posting import posted_from
from shop.vendor_jobs import lots
from shop.vendor_jobs.models import Job, Line
from shop.vendor_jobs.not_left import may_be_a_slip
from shop.vendor_jobs.sending import LetGo, Told, open_lines, told_new_day

UNPROCESSABLE = 422
#: Somebody else was quicker: the page as it is now has no form any more at which this could stand.
GONE_BY = {"sent", "cancelled", "not out", "counted", "settled"}
OF_LINE = (Line, "job__uid")


@require_safe
@role_required(*DESK)
def job(request: HttpRequest, uid: UUID) -> HttpResponse:
    return page(request, vendor_job.known_job(uid))


def page(request: HttpRequest, row: Job, *, status: int = 200, **refused: Any) -> HttpResponse:
    """The page as it is now, with the forms that were refused in their places."""
    found = vendor_job.shown(row, now=timezone.now())
    context: dict[str, Any] = {
        "found": found,
        "job": row,
        "past": history.happened(vendor_job.entries(row)),
        "today": timezone.localdate(),
        "charge_form": refused.get("charge") or ChargeForm(),
        "claims": [(claim, _settle_form(claim, refused.get("settle"))) for claim in found.claims],
        "agree_form": refused.get("agree") or AgreeForm(job=row),
    }
    if found.planned:
        context |= {
            "lot_form": refused.get("lot") or LotForm(job=row),
            "send_form": refused.get("send") or SendForm(job=row, lines=found.open, beyond=bool(found.beyond)),
            "rows": [(line, found.tags.get(line.step.part_id, ""), *_line_forms(line, refused)) for line in found.open],
        }
    if found.to_come and row.sent_on is not None:
        arrivals: dict[int, tuple[ArrivalForm, FoundPhotographForm]] = refused.get("arrivals", {})
        context |= {
            "came_form": refused.get("came") or CameForm(),
            "arrivals": [arrivals.get(line.pk) or arrival_forms(line) for line in found.to_come],
            "day_form": refused.get("day") or NewDayForm(),
            "slip": may_be_a_slip(row, now=timezone.now()),
        }
    if row.sent_on is not None:
        lines = vendor_job.claimable(row)
        context["claim_form"] = refused.get("claim") or ClaimForm(lines=lines, terms=found.terms)
    if found.next_lots:
        context["on_form"] = refused.get("on") or OnForm(lots=vendor_job.next_lots(row))
    return render(request, "desk/vendor_job.html", context, status=status)


def _line_forms(line: Line, refused: dict[str, Any]) -> tuple[LineForm, FoundPhotographForm]:
    form, photograph = refused.get("line", (None, None))
    if form is not None and form.line.pk == line.pk:
        return form, photograph
    return LineForm(line=line), FoundPhotographForm(prefix=f"laid-{line.uid}")


def arrival_forms(line: Line, request: HttpRequest | None = None) -> tuple[ArrivalForm, FoundPhotographForm]:
    """The boxes of a line that is counted in, and its photograph; as they were sent, or empty."""
    prefix, shows = f"came-{line.uid}", str(line.step.part)
    if request is None:
        return ArrivalForm(line=line), FoundPhotographForm(prefix=prefix, shows=shows)
    photograph = FoundPhotographForm(request.POST, request.FILES, prefix=prefix, shows=shows)
    return ArrivalForm(request.POST, line=line), photograph


def _settle_form(claim: Any, refused: SettleForm | None) -> SettleForm | None:
    if claim.settled_at is not None:
        return None
    return refused if refused is not None and refused.claim.pk == claim.pk else SettleForm(claim=claim)


def tried(request: HttpRequest, form: forms.Form, write: Callable[[dict[str, Any]], object]) -> bool | None:
    """Whether ``write`` took what the form holds. What it refused stands at its field; None where somebody was quicker."""
    if not form.is_valid():
        return False
    try:
        write(form.cleaned_data)
    except ValidationError as error:
        if getattr(error, "code", None) in GONE_BY:
            messages.error(request, error.messages[0])
            return None
        saving.place(form, error, None)
        return False
    return True


def answer(
    request: HttpRequest, row: Job, name: str, form: forms.Form, write: Callable[[dict[str, Any]], object], said: str
) -> HttpResponse:
    """Write and go back to the page, or show it with what is wrong."""
    done = tried(request, form, write)
    if done is False:
        return page(request, row, status=UNPROCESSABLE, **{name: form})
    if done:
        messages.success(request, said)
    return redirect("desk:vendor_job", uid=row.uid)


def told_by(given: dict[str, Any]) -> Told | None:
    """The day that a form names; None where it names none."""
    return Told(given["due_on"], given["status"], given["said_by"]) if given["due_on"] else None


def pressed(request: HttpRequest, do: Callable[[], str]) -> None:
    """What a button without boxes asks for, or why it cannot be."""
    try:
        messages.success(request, do())
    except ValidationError as error:
        for said in error.messages:
            messages.error(request, said)


def person(request: HttpRequest) -> User:
    """Whoever acts: a role is held by nobody else."""
    assert isinstance(request.user, User)
    return request.user


def steps_wrong(form: StepsForm) -> str:
    """What is wrong with the steps that were ticked."""
    return str(form.errors["step"][0])


def _by(request: HttpRequest) -> dict[str, Any]:
    return {"who": who(request), "now": timezone.now()}


# -- before it leaves --------------------------------------------------------------------------------------------------


@role_required(*DESK)
@posted_from("desk:vendor_job")
def change(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = vendor_job.known_job(uid)
    form = LotForm(request.POST, job=row)
    return answer(
        request, row, "lot", form, lambda _given: lots.change_lot(job=row, **form.given(), **_by(request)), _("Saved.")
    )


@role_required(*DESK)
@posted_from("desk:vendor_job")
def agree(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = vendor_job.known_job(uid)
    form = AgreeForm(request.POST, job=row)
    write = lambda given: lots.agree_price(job=row, **given, **_by(request))  # noqa: E731
    return answer(request, row, "agree", form, write, _("The price is noted."))


@role_required(*DESK)
@posted_from("desk:vendor_job", row=OF_LINE)
def change_line(request: HttpRequest, uid: UUID) -> HttpResponse:
    """Weight and value of a line, and the photograph of it laid out, taken in last when all else is in order."""
    line = line_of(uid)
    row = vendor_job.known_job(line.job.uid)
    form = LineForm(request.POST, line=line)
    prefix, shows = f"laid-{line.uid}", str(line.step.part)
    photograph = FoundPhotographForm(request.POST, request.FILES, prefix=prefix, shows=shows)

    def write(given: dict[str, Any]) -> None:
        kept: dict[str, Any] = {"photograph": photograph_from(request, photograph)} if photograph.came else {}
        if None in kept.values():
            raise ValidationError(_("The photograph could not be taken in. What is wrong stands beside it."))
        lots.change_line(line=line, **given, **kept, **_by(request))

    done = tried(request, form, write)
    if done is False:
        return page(request, row, status=UNPROCESSABLE, line=(form, photograph))
    if done:
        messages.success(request, _("Saved."))
    return redirect("desk:vendor_job", uid=row.uid)


def line_of(uid: UUID) -> Line:
    """A line of a vendor job, or 404."""
    return get_object_or_404(Line.objects.select_related("job", "step__part"), uid=uid)


@role_required(*DESK)
@posted_from("desk:vendor_job", row=OF_LINE)
def leave_out(request: HttpRequest, uid: UUID) -> HttpResponse:
    line = line_of(uid)

    def do() -> str:
        left = lots.take_out_of_lot(line=line, **_by(request))
        told = {"part": line.step.part, "job": left}
        if left.cancelled_at is not None:
            return _("%(part)s does not go. %(job)s was empty with that, and is cancelled.") % told
        return _("%(part)s does not go with %(job)s.") % told

    pressed(request, do)
    return redirect("desk:vendor_job", uid=line.job.uid)


@role_required(*DESK)
@posted_from("desk:vendor_job")
def add(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = vendor_job.known_job(uid), StepsForm(request.POST)
    if not form.is_valid():
        messages.error(request, steps_wrong(form))
        return redirect("desk:vendor_job", uid=uid)

    def do() -> str:
        lots.add_to_lot(job=row, steps=list(form.cleaned_data["step"]), **_by(request))
        return _("Added.")

    pressed(request, do)
    return redirect("desk:vendor_job", uid=uid)


@role_required(*DESK)
@posted_from("desk:vendor_job")
def cancel(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = vendor_job.known_job(uid)

    def do() -> str:
        lots.cancel_lot(job=row, **_by(request))
        return _("%(job)s does not go. What was in it may go with another lot.") % {"job": row}

    pressed(request, do)
    return redirect("desk:vendor_job", uid=uid)


# -- it leaves, and is out ---------------------------------------------------------------------------------------------


@role_required(*DESK)
@posted_from("desk:vendor_job")
def send(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The lot leaves with its tags; what holds it back stands over the form, in sentences."""
    row = vendor_job.known_job(uid)
    form = SendForm(request.POST, job=row, lines=open_lines(row), beyond=True)

    def write(given: dict[str, Any]) -> None:
        vendor_work.send(
            job=row,
            on=given["on"],
            told=told_by(given),
            carried_by=given["carried_by"],
            let_go=LetGo(given["let_go_by"], given["let_go_why"]),
            stay=form.stay(),
            person=person(request),
            now=timezone.now(),
        )

    return answer(request, row, "send", form, write, _("%(job)s is out. Its tags went with it.") % {"job": row})


@role_required(*DESK)
@posted_from("desk:vendor_job")
def had_not_left(request: HttpRequest, uid: UUID) -> HttpResponse:
    """That it left was a slip."""
    row = vendor_job.known_job(uid)
    try:
        new = vendor_work.had_not_left(job=row, person=person(request), now=timezone.now())
    except ValidationError as error:
        for said in error.messages:
            messages.error(request, said)
        return redirect("desk:vendor_job", uid=uid)
    messages.success(request, _("%(job)s is planned in its place; its tags are where they were.") % {"job": new})
    return redirect("desk:vendor_job", uid=new.uid)


@role_required(*DESK)
@posted_from("desk:vendor_job")
def new_day(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = vendor_job.known_job(uid), NewDayForm(request.POST)

    def write(given: dict[str, Any]) -> None:
        told = Told(given["due_on"], given["status"], given["said_by"])
        told_new_day(job=row, told=told, told_on=given["told_on"], note=given["note"], **_by(request))

    return answer(request, row, "day", form, write, _("The new day is noted; the plan goes by it."))


urlpatterns = [
    path("vendor-work/jobs/<uuid:uid>/", job, name="vendor_job"),
    path("vendor-work/jobs/<uuid:uid>/change/", change, name="change_lot"),
    path("vendor-work/jobs/<uuid:uid>/agree/", agree, name="agree_price"),
    path("vendor-work/jobs/<uuid:uid>/add/", add, name="add_to_lot"),
    path("vendor-work/jobs/<uuid:uid>/cancel/", cancel, name="cancel_lot"),
    path("vendor-work/jobs/<uuid:uid>/send/", send, name="send_lot"),
    path("vendor-work/jobs/<uuid:uid>/not-left/", had_not_left, name="had_not_left"),
    path("vendor-work/jobs/<uuid:uid>/new-day/", new_day, name="new_day"),
    path("vendor-work/lines/<uuid:uid>/", change_line, name="change_lot_line"),
    path("vendor-work/lines/<uuid:uid>/leave-out/", leave_out, name="leave_out"),
]
