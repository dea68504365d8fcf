"""Reminders: what is open, and what one does about it; the address of a calendar."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from quotes.desk import saving, waiting_reminders
from quotes.desk.context import DESK
from quotes.desk.forms import PlainForm
from quotes.desk.forms_ordering import NewDayForm as OrderDayForm
from quotes.desk.forms_vendor import NewDayForm
from quotes.desk.views.days import DayField
from quotes.desk.views.vendor_job import person, told_by
from quotes.pricing.customers.sending import base_of, opens_only_here
from shop.people.roles import ROLE_DESK, ROLE_MANAGER, role_required, roles_of
from shop.posting import posted_from
from shop.vendor_jobs.models import Reminder
from shop.vendor_jobs.reminding import acting, feeds, words
from shop.vendor_jobs.reminding.selectors import open_reminders, with_words

UNPROCESSABLE = 422
ON_A_PAGE = 50


class PutOffForm(PlainForm):
    until = DayField(label=gettext_lazy("Tell it again on"))


def _said(request: HttpRequest) -> dict[str, Any]:
    return {"who": request.user.get_username(), "now": timezone.now()}


@require_safe
@role_required(*DESK)
def reminders(request: HttpRequest) -> HttpResponse:
    """All that is open, page by page, the longest due first."""
    today = timezone.localdate()
    roles = {ROLE_DESK} | (roles_of(request.user) & {ROLE_MANAGER})
    page = Paginator(open_reminders(roles=roles, today=today), ON_A_PAGE).get_page(request.GET.get("page"))
    rows = [waiting_reminders.waits(row, today) for row in page]
    return render(request, "desk/reminders.html", {"rows": rows, "page": page})


@require_safe
@role_required(*DESK)
def reminder(request: HttpRequest, uid: UUID) -> HttpResponse:
    return _page(request, _row(uid))


def _row(uid: UUID) -> Reminder:
    return get_object_or_404(with_words(Reminder.objects.all()), uid=uid)


def _page(request: HttpRequest, row: Reminder, *, status: int = 200, **refused: forms.Form) -> HttpResponse:
    today = timezone.localdate()
    of_lot = row.job is not None and row.kind in acting.OF_THE_DAY and row.job.back_on is None
    asks_day = of_lot or (row.order is not None and row.order.closed_on is None)
    context = {
        "reminder": row,
        "title": words.title(row),
        "said": words.told(row, today),
        "about": _about(row),
        "open": row.settled == Reminder.Settled.OPEN,
        "acts": waiting_reminders.acts(row, today),
        "put_off": refused.get("put_off") or PutOffForm(auto_id="put-off-%s"),
        "day": (refused.get("day") or _day_form(row)) if asks_day else None,
    }
    return render(request, "desk/reminder.html", context, status=status)


def _day_form(row: Reminder, data: Any = None) -> NewDayForm | OrderDayForm:
    """The boxes for the new day of a lot, or of an order."""
    return OrderDayForm(data) if row.order is not None else NewDayForm(data)


def _about(row: Reminder) -> str:
    """The page of what it is about."""
    if row.job is not None:
        return reverse("desk:vendor_job", args=[row.job.uid])
    if row.order is not None:
        return reverse("desk:order", args=[row.order.uid])
    assert row.step is not None, "a reminder is about something"
    return reverse("desk:step", args=[row.step.uid])


@role_required(*DESK)
@posted_from("desk:reminder")
def done(request: HttpRequest, uid: UUID) -> HttpResponse:
    row = acting.done(reminder=_row(uid), **_said(request))
    messages.success(request, _("Done: %(name)s.") % {"name": words.title(row)})
    return redirect("desk:home")


@role_required(*DESK)
@posted_from("desk:reminder")
def put_off(request: HttpRequest, uid: UUID) -> HttpResponse:
    row, form = _row(uid), PutOffForm(request.POST, auto_id="put-off-%s")
    if form.is_valid():
        try:
            acting.snooze(reminder=row, until=form.cleaned_data["until"], **_said(request))
        except ValidationError as error:
            saving.place(form, error, "until")
        else:
            messages.success(request, _("Put off: %(name)s.") % {"name": words.title(row)})
            return redirect("desk:home")
    return _page(request, row, status=UNPROCESSABLE, put_off=form)


@role_required(*DESK)
@posted_from("desk:reminder")
def told_day(request: HttpRequest, uid: UUID) -> HttpResponse:
    """The vendor, or the supplier, said a new day."""
    row = _row(uid)
    form = _day_form(row, request.POST)
    if form.is_valid():
        try:
            _write_day(row, form.cleaned_data, request)
        except ValidationError as error:
            saving.place(form, error, "due_on")
        else:
            messages.success(request, _("The new day is noted; the plan goes by it."))
            return redirect("desk:home")
    return _page(request, row, status=UNPROCESSABLE, day=form)


def _write_day(row: Reminder, given: dict[str, Any], request: HttpRequest) -> None:
    if row.order is not None:
        acting.told_of_order(reminder=row, due_on=given["due_on"], said_by=given["said_by"], **_said(request))
        return
    told = told_by(given)
    assert told is not None, "its box must be filled in"
    acting.told(reminder=row, to=told, told_on=given["told_on"], note=given["note"], **_said(request))


@require_safe
@role_required(*DESK)
def my_calendar(request: HttpRequest) -> HttpResponse:
    return _calendar_page(request)


def _calendar_page(request: HttpRequest, secret: str = "") -> HttpResponse:
    """``secret`` is shown once, on this very answer: it is never stored."""
    base = base_of(request)
    address = f"{base}{reverse('due:feed', args=[secret])}" if secret else ""
    context = {"address": address, "feed": feeds.of(person(request)), "opens_only_here": opens_only_here(base)}
    response = render(request, "desk/my_calendar.html", context)
    if secret:
        response["Cache-Control"] = "no-store"
    return response


@role_required(*DESK)
@posted_from("desk:my_calendar", takes=())
def new_calendar(request: HttpRequest) -> HttpResponse:
    return _calendar_page(request, feeds.make(person=person(request), **_said(request)))


@role_required(*DESK)
@posted_from("desk:my_calendar", takes=())
def end_calendar(request: HttpRequest) -> HttpResponse:
    feeds.end(person=person(request), **_said(request))
    messages.success(request, _("The address opens nothing any more."))
    return redirect("desk:my_calendar")


urlpatterns = [
    path("reminders/", reminders, name="reminders"),
    path("reminders/calendar/", my_calendar, name="my_calendar"),
    path("reminders/calendar/new/", new_calendar, name="new_calendar"),
    path("reminders/calendar/end/", end_calendar, name="end_calendar"),
    path("reminders/<uuid:uid>/", reminder, name="reminder"),
    path("reminders/<uuid:uid>/done/", done, name="reminder_done"),
    path("reminders/<uuid:uid>/put-off/", put_off, name="put_off"),
    path("reminders/<uuid:uid>/told/", told_day, name="reminder_told"),
]
